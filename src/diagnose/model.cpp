#include "diagnose/model.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstring>
#include <functional>
#include <limits>
#include <span>
#include <stdexcept>
#include <utility>

#include "base/index.hpp"
#include "base/promise.hpp"
#include "base/two.hpp"
#include "vocabulary/levels.hpp"

namespace dryshaft {
namespace {

constexpr bool present_in(std::size_t state, std::size_t cause) {
  return (state >> cause & 1U) != 0;
}

constexpr std::size_t kBlocks = kStateCount / kBlock;

// The four states of a block.
struct Block {
  Two first;
  Two second;
  static Block at(const double* from) { return {load(from), load(from + 2)}; }
  void put(double* to) const {
    store(to, first);
    store(to + 2, second);
  }
  Block operator*(const Block& o) const { return {first * o.first, second * o.second}; }
  Block operator*(double x) const { return {first * x, second * x}; }
  Block operator+(const Block& o) const { return {first + o.first, second + o.second}; }
  [[nodiscard]] double sum() const {
    const Two both = first + second;
    return both[0] + both[1];
  }
};

constexpr States ones() {
  States all{};
  all.fill(1.0);
  return all;
}

}  // namespace

Case empty_case() {
  Case c;
  c.level.fill(-1);
  c.set(Situation::rotor_cooling, Cooling::unknown);
  c.set(Situation::rotor_bearings, Bearings::unknown);
  c.set(Situation::gear_bearings, Bearings::unknown);
  c.set(Situation::crossover, Crossover::unknown);
  c.set(Situation::rotor_magnets, Magnets::unknown);
  c.set(Situation::configuration, Configuration::consistent);
  c.set(Situation::port_check, PortCheck::not_made);
  c.set(Situation::risk, RiskBand::low);
  c.set(Situation::by, By::unknown);
  return c;
}

namespace {

std::vector<Condition> grade_conditions(const Knowledge& knowledge) {
  if (knowledge.floors.size() > kMaxFloors) {
    broken_promise<std::length_error>(fmt::format("{} floors, where a grade has bits for {}",
                                                  knowledge.floors.size(), kMaxFloors));
  }
  std::vector<Condition> conditions;
  for (const Floor& floor : knowledge.floors) {
    conditions.push_back(floor.when);
  }
  conditions.push_back(knowledge.settings.ungraded);
  conditions.push_back(knowledge.settings.sound);
  return conditions;
}

}  // namespace

GradeConditions::GradeConditions(const Knowledge& knowledge)
    : GradeConditions(grade_conditions(knowledge)) {}

GradeConditions::GradeConditions(const std::vector<Condition>& rows) : set_(rows) {
  for (const Condition& c : rows) {
    asks_.push_back(asks(c));
    all_asks_ |= asks_.back();
  }
}

GradeConditions::Holding GradeConditions::holding(const Facts& facts) const {
  const ConditionSet::Bits bits = set_.holding(facts);
  const auto holds = [&](std::size_t row) { return (bits[row / 64] >> (row % 64) & 1U) != 0; };
  const std::size_t floors = ungraded_row();
  static_assert(kMaxFloors <= 64);
  const std::uint64_t all_floors =
      floors == 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << floors) - 1;
  return {bits[0] & all_floors, holds(floors), holds(floors + 1)};
}

Model::Model(const Knowledge& knowledge)
    : Model(knowledge, std::make_shared<const Life>(knowledge)) {}

Model::Model(const Knowledge& knowledge, std::shared_ptr<const Life> process)
    : grading_(knowledge), life_(std::move(process)) {
  compile_likelihoods(knowledge);
}

void Model::compile_likelihoods(const Knowledge& knowledge) {
  for (const CauseRule& rule : knowledge.causes) {
    for (std::size_t s = 0; s < kStateCount; ++s) {
      const bool damage = rule.damaging == CauseRule::Damaging::yes;
      damaging_ |= damage && present_in(s, idx(rule.cause)) ? std::uint64_t{1} << s : 0;
    }
  }
  std::size_t levels = 0;
  for (const FindingSpec& f : findings()) {
    first_[static_cast<std::size_t>(f.id)] = static_cast<std::uint16_t>(levels);
    levels += f.levels.size();
  }
  likelihood_.assign(levels, ones());
  for (const Background& b : knowledge.backgrounds) {
    const auto f = static_cast<std::size_t>(b.finding);
    const std::size_t count = spec(b.finding).levels.size();
    carries_[f] = true;
    carrying_ |= 1U << f;
    std::vector<const Link*> links;
    for (const Link& link : knowledge.links) {
      if (link.finding == b.finding) {
        links.push_back(&link);
        linked_[f] |= 1U << static_cast<std::size_t>(link.cause);
      }
    }
    for (std::size_t s = 0; s < kStateCount; ++s) {
      if (const std::size_t same = s & linked_[f]; same != s) {  // it comes before s
        for (std::size_t l = 0; l < count; ++l) {
          likelihood_[first_[f] + l][s] = likelihood_[first_[f] + l][same];
        }
        continue;
      }
      // better[l]: chance of a level better than l, which may be too small for 1 less it to show.
      std::array<double, kMaxLevels + 1> better{};
      better[count] = 1;
      for (std::size_t l = 1; l < count; ++l) {
        better[l] = 1 - b.anyway[l];
        for (const Link* link : links) {
          better[l] *=
              present_in(s, static_cast<std::size_t>(link->cause)) ? 1 - link->shows[l] : 1;
        }
      }
      for (std::size_t l = 0; l < count; ++l) {
        likelihood_[first_[f] + l][s] = better[l + 1] - better[l];
      }
    }
  }
  std::uint32_t to_damage = 0;
  std::uint32_t to_others = 0;
  for (const Link& link : knowledge.links) {
    const bool damaging =
        (damaging_ >> (std::size_t{1} << static_cast<std::size_t>(link.cause)) & 1U) != 0;
    (damaging ? to_damage : to_others) |= 1U << static_cast<std::size_t>(link.finding);
    const bool of_rest = std::ranges::find(kRestCauses, link.cause) != kRestCauses.end();
    on_rests_ |= of_rest ? 1U << idx(link.finding) : 0U;
  }
  for (const FindingSpec& f : findings()) {
    const auto bit = static_cast<std::size_t>(f.id);
    std::uint32_t together = 0;  // the finding that it describes, and the others that do
    for (const FindingSpec& other : findings()) {
      if (f.detail_of && (other.id == *f.detail_of || other.detail_of == f.detail_of)) {
        together |= 1U << static_cast<std::size_t>(other.id);
      }
    }
    const bool describes = (together & to_others) != 0;
    const bool elsewhere = (to_damage >> bit & 1U) == 0;
    if (carries_[bit] && (describes || elsewhere)) {
      explains_ |= 1U << bit;
    }
  }
  compile_groups();
  compile_carriers(knowledge.links);
  compile_broken(knowledge);
}

void Model::compile_broken(const Knowledge& knowledge) {
  unsaid_ = knowledge.settings.broken_unsaid;
  std::ranges::transform(knowledge.stages, reaches_.begin() + 1, &StageRule::reaches);
  for (const BrokenRule& rule : knowledge.broken) {
    Broken& out = broken_.emplace_back();
    out.finding = rule.finding;
    out.harm = rule.cause == kHarms[0] ? 0 : 1;
    show_breakdown_ |= 1U << idx(rule.finding);
    const std::size_t count = spec(rule.finding).levels.size();
    out.worst = static_cast<std::int8_t>(count - 1);
    for (std::size_t l = 0; l < count; ++l) {
      const double shown = rule.shows[l] - (l + 1 < count ? rule.shows[l + 1] : 0);
      const double harmed =
          likelihood(rule.finding, static_cast<int>(l))[std::size_t{1} << idx(rule.cause)];
      out.ratio[l] = shown / harmed;
    }
  }
}

void Model::compile_carriers(const std::vector<Link>& links) {
  for (std::size_t f = 0; f < kFindingCount; ++f) {
    carriers_[f].fill(-1);
    std::array<bool, kCauseCount> own{};
    for (std::size_t i = 0; i < links.size(); ++i) {
      if (links[i].finding != static_cast<Finding>(f)) {
        continue;
      }
      for (std::size_t c = 0; c < kCauseCount; ++c) {
        int& carrier = carriers_[f][c];
        if (links[i].cause == static_cast<Cause>(c)) {
          carrier = static_cast<int>(i);
          own[c] = true;
        } else if (!own[c] && (carrier < 0 ||
                               links[i].cause < links[static_cast<std::size_t>(carrier)].cause)) {
          carrier = static_cast<int>(i);
        }
      }
    }
  }
}

// One group for the findings on damaging causes alone, one for all others. The
// first two causes belong to both, so that blocks stay whole.
void Model::compile_groups() {
  std::uint32_t damaging = 0;
  for (std::size_t c = 0; c < kCauseCount; ++c) {
    damaging |= (damaging_ >> (std::size_t{1} << c) & 1U) != 0 ? 1U << c : 0;
  }
  constexpr std::uint32_t kInBlock = kBlock - 1;
  std::array<std::size_t, kFindingCount> group_of{};
  grouped_at_.resize(likelihood_.size());
  groups_[0].causes = damaging | kInBlock;
  groups_[1].causes = kInBlock;
  for (std::size_t f = 0; f < kFindingCount; ++f) {
    group_of[f] = (linked_[f] & ~groups_[0].causes) != 0 ? 1 : 0;
    groups_[1].causes |= group_of[f] != 0 ? linked_[f] : 0;
  }
  for (std::size_t g = 0; g < groups_.size(); ++g) {
    Group& group = groups_[g];
    group.size = std::size_t{1} << static_cast<unsigned>(std::popcount(group.causes));
    std::array<std::uint8_t, kStateCount> place{};
    for (std::size_t state = 0; state < kStateCount; ++state) {
      unsigned at = 0;
      unsigned bit = 0;
      for (std::size_t c = 0; c < kCauseCount; ++c) {
        if ((group.causes >> c & 1U) != 0) {
          at |= static_cast<unsigned>(state >> c & 1U) << bit++;
        }
      }
      place[state] = static_cast<std::uint8_t>(at);
    }
    for (std::size_t b = 0; b < kBlocks; ++b) {
      group.block[b] = place[b * kBlock];
    }
    for (std::size_t f = 0; f < kFindingCount; ++f) {
      if (group_of[f] != g) {
        continue;
      }
      group.members |= 1U << f;
      const std::size_t count = spec(static_cast<Finding>(f)).levels.size();
      for (std::size_t l = first_[f]; l < first_[f] + count; ++l) {
        grouped_at_[l] = static_cast<std::uint16_t>(grouped_.size());
        grouped_.resize(grouped_.size() + group.size);
        for (std::size_t s = 0; s < kStateCount; ++s) {
          grouped_[grouped_at_[l] + place[s]] = likelihood_[l][s];
        }
      }
    }
  }
}

// Likelihoods multiplied, a table for each group; `at` says where it stands.
struct Model::Product {
  explicit Product(const std::array<Group, 2>& groups) : group(groups) {}
  [[nodiscard]] Block factor(std::size_t block) const {
    return Block::at(at[0] + group[0].block[block]) * Block::at(at[1] + group[1].block[block]);
  }
  // Of one state.
  [[nodiscard]] double of(std::size_t state) const {
    const std::size_t block = state / kBlock;
    return at[0][group[0].block[block] + state % kBlock] *
           at[1][group[1].block[block] + state % kBlock];
  }
  const std::array<Group, 2>& group;
  std::array<States, 2> own;
  std::array<const double*, 2> at{};
};

namespace {

constexpr States kOnes = ones();

}  // namespace

void Model::observe(const Levels& level, std::uint32_t which, Product& out) const {
  for (std::size_t g = 0; g < groups_.size(); ++g) {
    std::uint32_t left = which & groups_[g].members;
    if (left == 0) {
      out.at[g] = kOnes.data();
      continue;
    }
    const auto take = [&] {
      const auto f = static_cast<std::size_t>(std::countr_zero(left));
      left &= left - 1;
      return grouped_.data() + grouped_at_[first_[f] + static_cast<std::uint8_t>(level[f])];
    };
    const double* like = take();
    out.at[g] = like;
    double* into = out.own[g].data();
    while (left != 0) {
      const double* before = out.at[g];
      like = take();
      for (std::size_t s = 0; s < groups_[g].size; s += kBlock) {
        (Block::at(before + s) * Block::at(like + s)).put(into + s);
      }
      out.at[g] = into;
    }
  }
}

namespace {

// Bit `f` is set where finding `f` was observed: its level has no sign.
std::uint32_t observed_in(const Levels& level) {
  std::uint32_t seen = 0;
  std::size_t f = 0;
  if constexpr (std::endian::native == std::endian::little) {
    // Eight signs at a time, gathered in the top byte by one product.
    for (; f + 8 <= kFindingCount; f += 8) {
      std::uint64_t eight = 0;
      std::memcpy(&eight, &level[f], sizeof eight);
      const std::uint64_t signs = ~eight >> 7U & 0x0101010101010101U;
      seen |= static_cast<std::uint32_t>(signs * 0x0102040810204080U >> 56U) << f;
    }
  }
  for (; f < kFindingCount; ++f) {
    seen |= (level[f] >= 0 ? 1U : 0U) << f;
  }
  return seen;
}

}  // namespace

// How much likelier what was seen is in a unit that has broken down than in one that is harmed.
struct Model::Risen {
  std::array<double, kBreakdowns> by{1, 1, 1, 1};
  void multiply(std::size_t harm, double ratio) {
    by[std::size_t{1} << harm] *= ratio;
    by[kBreakdowns - 1] *= ratio;
  }
};

Model::Risen Model::breakdown(const Levels& level, std::uint32_t seen) const {
  Risen risen{unsaid(level)};
  if ((seen & show_breakdown_) == 0) {
    return risen;
  }
  for (const Broken& b : broken_) {
    if ((seen >> idx(b.finding) & 1U) != 0) {
      risen.multiply(b.harm, b.ratio[static_cast<std::uint8_t>(level[idx(b.finding)])]);
    }
  }
  return risen;
}

std::array<double, kBreakdowns> Model::broken(Finding finding, int level) const {
  Risen risen;
  for (const Broken& b : broken_) {
    if (b.finding == finding) {
      risen.multiply(b.harm, b.ratio[static_cast<std::uint8_t>(level)]);
    }
  }
  return risen.by;
}

// The worst that a finding can show says so.
std::array<double, kBreakdowns> Model::unsaid(const Levels& level) const {
  std::array<double, kHarms.size()> left;
  left.fill(unsaid_);
  for (const Broken& b : broken_) {
    left[b.harm] = level[idx(b.finding)] == b.worst ? 1 : left[b.harm];
  }
  return {1, left[0], left[1], left[0] * left[1]};
}

namespace {

// What only an opened unit shows.
constexpr std::uint32_t kOfSealItself = 1U << idx(Finding::opened_seal_leak);

constexpr std::size_t kReached = std::size_t{1} << idx(Cause::seal_leak);

// States as a look sees them, without the seal, by harm (bits: corrosion, insulation) and rest.
constexpr auto kStateOf = [] {
  std::array<std::array<std::uint8_t, kRests>, 4> states{};
  for (std::size_t harm = 0; harm < states.size(); ++harm) {
    for (std::size_t r = 0; r < kRests; ++r) {
      states[harm][r] = static_cast<std::uint8_t>(causes_in(0, harm & 1U, harm >> 1U, r));
    }
  }
  return states;
}();
// Calls `take(core, seal, breakdown, place in kStateOf)` for each core.
template <typename Take>
void each_core(Take take) {
  for (std::size_t seal = 0; seal < kSealStates; ++seal) {
    for (std::size_t c = 0; c < kHarmStates; ++c) {
      for (std::size_t i = 0; i < kHarmStates; ++i) {
        const std::size_t breakdown = (c == 2 ? 1U : 0U) | (i == 2 ? 2U : 0U);
        take(core_of(seal, c, i), seal, breakdown, (c > 0 ? 1U : 0U) | (i > 0 ? 2U : 0U));
      }
    }
  }
}

}  // namespace

std::uint32_t Model::evidence_in(const Case& c) const {
  return observed_in(c.level) & carrying_ & ~(c.earlier & ~explains_) & ~kOfSealItself;
}

// `tip`: how likely each state makes what was seen. `out`: the same for the states of the process.
void Model::spread(const States& tip, const Risen& risen, Belief& out) const {
  // By harm: where nothing has reached the tip, and how much more where it has.
  std::array<std::array<double, kRests>, kStateOf.size()> dry;
  std::array<std::array<double, kRests>, kStateOf.size()> more;
  for (std::size_t harm = 0; harm < kStateOf.size(); ++harm) {
    for (std::size_t r = 0; r < kRests; ++r) {
      const std::size_t state = kStateOf[harm][r];
      dry[harm][r] = tip[state];
      more[harm][r] = tip[state | kReached] - tip[state];
    }
  }
  each_core([&](std::size_t core, std::size_t seal, std::size_t breakdown, std::size_t harm) {
    for (std::size_t r = 0; r < kRests; r += 2) {
      store(&out.at[core][r],
            risen.by[breakdown] * (load(&dry[harm][r]) + reaches_[seal] * load(&more[harm][r])));
    }
  });
}

Belief Model::likelihood(const Levels& seen) const {
  const std::uint32_t evidence = observed_in(seen) & carrying_ & ~explains_;
  Product product(groups_);
  observe(seen, evidence & ~kOfSealItself, product);
  States tip;
  for (std::size_t b = 0; b < kBlocks; ++b) {
    product.factor(b).put(&tip[b * kBlock]);
  }
  Belief out;
  spread(tip, breakdown(seen, evidence), out);
  if ((evidence & kOfSealItself) != 0) {
    const Cores itself = of_seal(seen[idx(Finding::opened_seal_leak)]);
    for (std::size_t core = 0; core < kCores; ++core) {
      for (double& x : out.at[core]) {
        x *= itself[core];
      }
    }
  }
  return out;
}

// How much likelier what an opening showed of the seal is, by core.
Cores Model::of_seal(int opened) const {
  const States& itself = likelihood(Finding::opened_seal_leak, opened);
  Cores like;
  for (std::size_t core = 0; core < kCores; ++core) {
    like[core] = core < core_of(1, 0, 0) ? itself[0] : itself[kReached];
  }
  return like;
}

namespace {

// The belief before a look and how likely each state makes it: the belief after, in place of the
// second, and how likely the look was: 0 where it cannot have been.
double take_in(std::span<const double> before, std::span<double> like) {
  Two both{};
  for (std::size_t i = 0; i < like.size(); i += 2) {
    const Two here = load(&before[i]) * load(&like[i]);
    store(&like[i], here);
    both += here;
  }
  const double all = both[0] + both[1];
  const double scale = all > 0 ? 1 / all : 0;
  for (std::size_t i = 0; i < like.size(); i += 2) {
    store(&like[i], load(&like[i]) * scale);
  }
  return all;
}
std::span<double> flat(Rows& rows) { return {rows.front().data(), kCores * kRests}; }
std::span<const double> flat(const Rows& rows) { return {rows.front().data(), kCores * kRests}; }

// A look that cannot have been teaches nothing.
double take_in(Cores& cores, Cores like) {
  const double chance = take_in(std::span<const double>(cores), like);
  cores = chance > 0 ? like : cores;
  return chance > 0 ? chance : 0;
}
double take_in(Rows& rows, Rows like) {
  const double chance = take_in(flat(std::as_const(rows)), flat(like));
  rows = chance > 0 ? like : rows;
  return chance > 0 ? chance : 0;
}

}  // namespace

// Returns how likely its look was, 1 where it has none.
double Model::pass(Underway& unit, const Leg& leg) const {
  if (leg.bypassed_on_the_way) {
    life_->drive_and_bypass(unit, leg.from, leg.to);
  } else {
    life_->drive(unit, leg.from, leg.to);
  }
  for (const CauseSpec& c : causes()) {
    if ((leg.ends >> idx(c.id) & 1U) != 0) {
      Life::end(unit, c.id);
    }
  }
  if (leg.new_seal) {
    life_->renew_seal(unit);
  }
  const std::uint32_t seen = observed_in(leg.seen) & carrying_ & ~explains_;
  if (observed_in(leg.seen) == 0) {
    return 1;
  }
  if (unit.apart && (seen & on_rests_) == 0) {
    return take_in(unit.cores, core_likelihood(leg.seen, seen));
  }
  unit.join();
  return take_in(unit.rows, likelihood(leg.seen).at);
}

// How likely each core makes a look that tells nothing of the rests.
Cores Model::core_likelihood(const Levels& level, std::uint32_t seen) const {
  Product product(groups_);
  observe(level, seen & ~kOfSealItself, product);
  const Risen risen = breakdown(level, seen);
  Cores like;
  each_core([&](std::size_t core, std::size_t seal, std::size_t breakdown, std::size_t harm) {
    const double dry = product.of(kStateOf[harm][0]);
    const double reached = product.of(kStateOf[harm][0] | kReached);
    like[core] = risen.by[breakdown] * (dry + reaches_[seal] * (reached - dry));
  });
  if ((seen & kOfSealItself) != 0) {
    const Cores itself = of_seal(level[idx(Finding::opened_seal_leak)]);
    std::ranges::transform(like, itself, like.begin(), std::multiplies());
  }
  return like;
}

// The way to the newest look.
Leg Model::last_leg(const Case& c) const {
  Leg last;
  if (c.course) {
    last.from = c.course->end;
  }
  last.to = clock_of(c);
  last.from.cooling = last.to.cooling;
  last.from.rotor = last.to.rotor;
  last.from.gear = last.to.gear;
  // Nobody knows when: it ends a leak, not what that did.
  last.bypassed_on_the_way = !c.course && last.from.cooling == Cooling::bypassed;
  if (last.bypassed_on_the_way) {
    last.from.cooling = Cooling::wet;
  }
  last.seen.fill(-1);
  return last;
}

// The last way, and what an opening at its end showed of the seal itself: returns how likely that
// was.
double Model::arrive(Underway& unit, const Case& c) const {
  pass(unit, last_leg(c));
  return see_opening(unit, c);
}

double Model::see_opening(Underway& unit, const Case& c) const {
  const int opened = c.at(Finding::opened_seal_leak);
  if (opened < 0 || !carries_evidence(Finding::opened_seal_leak) ||
      (c.earlier & kOfSealItself) != 0) {
    return 1;
  }
  if (unit.apart) {
    return take_in(unit.cores, of_seal(opened));
  }
  const Cores itself = of_seal(opened);
  Rows like;
  for (std::size_t core = 0; core < kCores; ++core) {
    like[core].fill(itself[core]);
  }
  return take_in(unit.rows, like);
}

Prior Model::prior(const Case& c) const {
  Prior out;
  const Leg last = last_leg(c);
  const bool seen_before = c.course || last.bypassed_on_the_way;
  Underway unit = seen_before ? Underway(life_->newborn()) : life_->unseen(last.from, last.to);
  if (seen_before) {
    for (const Leg& leg :
         c.course ? std::span<const Leg>(c.course->legs) : std::span<const Leg>()) {
      pass(unit, leg);
    }
    arrive(unit, c);
  } else {
    see_opening(unit, c);
  }
  out.belief = unit.belief();
  collapse(out);
  return out;
}

std::vector<Model::LeakThen> Model::leak_along(const Case& c) const {
  std::vector<LeakThen> along;
  if (!c.course) {
    return along;
  }
  double km = 0;
  Underway unit(life_->newborn());
  const auto note = [&](const Underway& then, double at) {
    along.push_back({at, chances(then.belief()).cause[idx(Cause::seal_leak)]});
  };
  const auto go = [&](const Leg& leg) {
    const double further = leg.to.seal_km - leg.from.seal_km;
    const double longer = leg.to.seal_years - leg.from.seal_years;
    for (std::size_t i = 1; i <= kBetween && !leg.bypassed_on_the_way; ++i) {
      const double share = static_cast<double>(i) / kBetween;
      Underway then = unit;
      life_->drive(then, leg.from,
                   i == kBetween ? leg.to : leg.from.later(further * share, longer * share));
      note(then, km + further * share);
    }
    pass(unit, leg);
    km += further;
    note(unit, km);
  };
  for (const Leg& leg : c.course->legs) {
    go(leg);
  }
  go(last_leg(c));
  for (LeakThen& then : along) {
    then.km_before = km - then.km_before;
  }
  return along;
}

void Model::collapse(Prior& out) const {
  // By breakdown and harm, where something has reached the tip, where nothing has, and of those
  // where a leak does not show.
  struct Seen {
    std::array<double, kRests> dry{};
    std::array<double, kRests> reached{};
    std::array<double, kRests> hidden{};
  };
  std::array<std::array<Seen, kStateOf.size()>, kBreakdowns> seen{};
  each_core([&](std::size_t core, std::size_t seal, std::size_t breakdown, std::size_t harm) {
    Seen& here = seen[breakdown][harm];
    for (std::size_t r = 0; r < kRests; r += 2) {
      const Two p = load(&out.belief.at[core][r]);
      const Two dry = p * (1 - reaches_[seal]);
      store(&here.dry[r], load(&here.dry[r]) + dry);
      store(&here.reached[r], load(&here.reached[r]) + p * reaches_[seal]);
      if (seal > 0) {
        store(&here.hidden[r], load(&here.hidden[r]) + dry);
      }
    }
  });
  const bool leak_damages = (damaging_ >> kReached & 1U) != 0;
  for (std::size_t harm = 0; harm < kStateOf.size(); ++harm) {
    for (std::size_t r = 0; r < kRests; ++r) {
      const std::size_t state = kStateOf[harm][r];
      for (std::size_t d = 0; d < kBreakdowns; ++d) {
        out.state[d][state] = seen[d][harm].dry[r];
        out.state[d][state | kReached] = seen[d][harm].reached[r];
      }
      const Seen& running = seen[0][harm];
      const double hidden =
          running.dry[r] > 0 ? std::min(1.0, running.hidden[r] / running.dry[r]) : 0;
      const auto damaged = [&](std::size_t s, double unseen) {
        const bool shows = (damaging_ >> s & 1U) != 0;
        out.damaged[s] = shows ? 1 : leak_damages ? unseen : 0;
      };
      damaged(state, hidden);
      damaged(state | kReached, 0);
    }
  }
}

std::array<States, kBreakdowns> Model::hidden_leaks(const Prior& prior) const {
  std::array<States, kBreakdowns> hidden{};
  each_core([&](std::size_t core, std::size_t seal, std::size_t breakdown, std::size_t harm) {
    for (std::size_t r = 0; seal > 0 && r < kRests; ++r) {
      hidden[breakdown][kStateOf[harm][r]] += prior.belief.at[core][r] * (1 - reaches_[seal]);
    }
  });
  for (std::size_t d = 0; d < kBreakdowns; ++d) {
    for (std::size_t s = 0; s < kStateCount; ++s) {
      const double all = prior.state[d][s];
      hidden[d][s] = all > 0 ? std::min(1.0, hidden[d][s] / all) : 0;
    }
  }
  return hidden;
}

// States that a look tells apart, with all that was seen, in one pass, a block at a time.
template <typename Take>
void Model::each_block(const Prior& prior, const Risen& risen, const Product& product,
                       Take take) const {
  for (std::size_t b = 0; b < kBlocks; ++b) {
    Block sum = Block::at(&prior.state[0][b * kBlock]);
    for (std::size_t d = 1; d < kBreakdowns; ++d) {
      sum = sum + Block::at(&prior.state[d][b * kBlock]) * risen.by[d];
    }
    take(b, sum * product.factor(b));
  }
}

namespace {

// All states and the damaging ones, block by block.
struct Sum {
  const States& damaging;
  Block all{};
  Block damaged{};
  void add(std::size_t b, const Block& here) {
    all = all + here;
    damaged = damaged + here * Block::at(&damaging[b * kBlock]);
  }
  [[nodiscard]] double risk() const { return damaged.sum() / all.sum(); }
};

// The same with the sound ones.
struct Sums : Sum {
  Block sound{};
  void add(std::size_t b, const Block& here) {
    Sum::add(b, here);
    const double* const share = &damaging[b * kBlock];
    sound = sound + here * Block{1 - load(share), 1 - load(share + 2)};
  }
  [[nodiscard]] double odds() const {
    constexpr double kNothing = std::numeric_limits<double>::min();
    return std::log(std::max(damaged.sum(), kNothing) / std::max(sound.sum(), kNothing));
  }
};

}  // namespace

template <typename Into>
Into Model::sum_up(const Case& c, const Prior& prior, std::uint32_t seen) const {
  Product product(groups_);
  observe(c.level, seen, product);
  Into sum{prior.damaged};
  each_block(prior, breakdown(c.level, seen), product,
             [&](std::size_t b, const Block& here) { sum.add(b, here); });
  return sum;
}

double Model::graded_risk(const Case& c, const Prior& prior) const {
  return sum_up<Sum>(c, prior, evidence_in(c) & ~explains_).risk();
}

Risks Model::risks(const Case& c, const Prior& prior) const {
  const std::uint32_t seen = evidence_in(c);
  const Sums graded = sum_up<Sums>(c, prior, seen & ~explains_);
  Risks risks{graded.risk(), graded.risk(), graded.odds(), graded.odds()};
  if ((seen & explains_) != 0) {
    const Sums all = sum_up<Sums>(c, prior, seen);
    risks.risk = all.risk();
    risks.odds = all.odds();
  }
  return risks;
}

// What is believed with the newest look, and how likely that look was.
double Model::take_in_newest(const Case& c, const Prior& prior, std::uint32_t seen,
                             Belief& out) const {
  Product product(groups_);
  observe(c.level, seen, product);
  States tip;
  for (std::size_t b = 0; b < kBlocks; ++b) {
    product.factor(b).put(&tip[b * kBlock]);
  }
  spread(tip, breakdown(c.level, seen), out);
  return take_in(flat(prior.belief.at), flat(out.at));
}

Belief Model::believed(const Case& c, const Prior& prior, bool graded) const {
  Belief belief;
  take_in_newest(c, prior, evidence_in(c) & (graded ? ~explains_ : ~0U), belief);
  return belief;
}

Posterior Model::infer(const Case& c, const Prior& prior) const {
  Posterior p;
  p.evidence = take_in_newest(c, prior, evidence_in(c), p.belief);
  p.cause = chances(p.belief).cause;
  const Risks risks = this->risks(c, prior);
  p.risk = risks.risk;
  p.graded_risk = risks.graded_risk;
  return p;
}

std::array<States, kBreakdowns> Model::weights(const Case& c, const Prior& prior,
                                               bool graded) const {
  const std::uint32_t seen = evidence_in(c) & (graded ? ~explains_ : ~0U);
  Product product(groups_);
  observe(c.level, seen, product);
  const Risen risen = breakdown(c.level, seen);
  std::array<States, kBreakdowns> out;
  for (std::size_t d = 0; d < kBreakdowns; ++d) {
    for (std::size_t b = 0; b < kBlocks; ++b) {
      const Block prior_here = Block::at(&prior.state[d][b * kBlock]);
      (prior_here * risen.by[d] * product.factor(b)).put(&out[d][b * kBlock]);
    }
  }
  return out;
}

// Of each cause, from both sums: next to certainty one of them holds all digits.
std::array<double, kCauseCount> Model::log_odds(const Belief& belief) const {
  std::array<double, kCauseCount> with{};
  std::array<double, kCauseCount> without{};
  std::array<double, kRests> rests{};
  constexpr auto kOfRests =
      static_cast<std::size_t>(causes_in(0, 0, 0, kRests - 1));  // the others go by core
  const auto add = [&](std::size_t state, std::size_t which, double p) {
    for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
      if (present_in(which, cause)) {
        (present_in(state, cause) ? with : without)[cause] += p;
      }
    }
  };
  each_core([&](std::size_t core, std::size_t seal, std::size_t, std::size_t harm) {
    double all = 0;
    for (std::size_t r = 0; r < kRests; ++r) {
      all += belief.at[core][r];
      rests[r] += belief.at[core][r];
    }
    add(kStateOf[harm][0] | (seal > 0 ? kReached : 0), ~kOfRests, all);
  });
  for (std::size_t r = 0; r < kRests; ++r) {
    add(kStateOf[0][r], kOfRests, rests[r]);
  }
  std::array<double, kCauseCount> odds{};
  for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
    // Certainty, as of a seal that must have worn out, has no odds that could be told apart.
    constexpr double kNothing = std::numeric_limits<double>::min();
    odds[cause] =
        10 * std::log10(std::max(with[cause], kNothing) / std::max(without[cause], kNothing));
  }
  return odds;
}

Weights Model::weigh(const Case& c, const Prior& before) const {
  Weights weights{};
  const auto full = log_odds(believed(c, before, false));
  std::uint32_t left = observed_in(c.level) & carrying_ & ~(c.earlier & ~explains_);
  for (; left != 0; left &= left - 1) {
    const auto f = static_cast<std::size_t>(std::countr_zero(left));
    Case rest = c;
    rest.level[f] = -1;
    const bool of_seal = (kOfSealItself >> f & 1U) != 0;
    const auto left_out = log_odds(believed(rest, of_seal ? prior(rest) : before, false));
    for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
      weights[f][cause] = full[cause] - left_out[cause];
    }
  }
  return weights;
}

std::vector<Model::LookWeight> Model::weigh_looks(const Case& c) const {
  std::vector<LookWeight> out;
  if (!c.course) {
    return out;
  }
  const std::vector<Leg>& legs = c.course->legs;
  std::size_t first = legs.size();
  for (std::size_t looks = 0; first > 0 && looks < kLooksWeighed; --first) {
    looks += legs[first - 1].look ? 1 : 0;
  }
  Underway start(life_->newborn());
  for (std::size_t i = 0; i < first; ++i) {
    pass(start, legs[i]);
  }
  const auto without = [&](std::size_t left_out) {
    Underway unit = start;
    for (std::size_t i = first; i < legs.size(); ++i) {
      Leg leg = legs[i];
      if (i == left_out) {
        leg.seen.fill(-1);
      }
      pass(unit, leg);
    }
    arrive(unit, c);
    Prior before;
    before.belief = unit.belief();
    collapse(before);
    return log_odds(believed(c, before, false));
  };
  const auto full = without(legs.size());
  for (std::size_t i = first; i < legs.size(); ++i) {
    if (!legs[i].look) {
      continue;
    }
    LookWeight& weight = out.emplace_back(LookWeight{*legs[i].look});
    const auto rest = without(i);
    for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
      weight.decibans[cause] = full[cause] - rest[cause];
    }
  }
  return out;
}

// `there(state)`: whether it is there in a state of causes.
template <typename There>
std::optional<Model::Since> Model::not_yet(const Case& c, std::size_t look, There there) const {
  if (!c.course) {
    return std::nullopt;
  }
  const std::vector<Leg>& legs = c.course->legs;
  const auto from =
      std::ranges::find_if(legs, [&](const Leg& leg) { return leg.look && *leg.look >= look; });
  if (from == legs.end()) {
    return std::nullopt;
  }
  Underway all(life_->newborn());
  for (auto leg = legs.begin(); leg <= from; ++leg) {
    pass(all, *leg);
  }
  // The same unit, had it not been there at that look.
  Belief not_there = all.belief();
  double share = 0;
  each_core([&](std::size_t core, std::size_t seal, std::size_t, std::size_t harm) {
    for (std::size_t r = 0; r < kRests; ++r) {
      double& p = not_there.at[core][r];
      p = there(kStateOf[harm][r] | (seal > 0 ? kReached : 0)) ? 0 : p;
      share += p;
    }
  });
  if (!(share > 0)) {
    return Since{0, 0};
  }
  for (auto& row : not_there.at) {
    for (double& x : row) {
      x /= share;
    }
  }
  Underway without(not_there);
  // How much likelier it makes what was seen since.
  double likelier = 1;
  const auto count = [&](double of_these, double of_all) {
    likelier *= of_all > 0 ? of_these / of_all : 1;
  };
  std::for_each(from + 1, legs.end(),
                [&](const Leg& leg) { count(pass(without, leg), pass(all, leg)); });
  count(arrive(without, c), arrive(all, c));
  const auto newest = [&](const Underway& unit) {
    Prior prior;
    prior.belief = unit.belief();
    collapse(prior);
    return infer(c, prior);
  };
  const Posterior of_these = newest(without);
  count(of_these.evidence, newest(all).evidence);
  return Since{std::clamp(share * likelier, 0.0, 1.0), of_these.risk};
}

std::optional<Model::Since> Model::sound_at(const Case& c, std::size_t look) const {
  return not_yet(c, look, [&](std::size_t s) { return (damaging_ >> s & 1U) != 0; });
}

std::optional<Model::Since> Model::unharmed_at(const Case& c, std::size_t look) const {
  constexpr std::size_t kHarmed = std::size_t{1} << idx(kHarms[0]) | std::size_t{1}
                                                                         << idx(kHarms[1]);
  return not_yet(c, look, [](std::size_t s) { return (s & kHarmed) != 0; });
}

Clock clock_of(const Case& c) {
  Clock now = c.course ? c.course->end : Clock{};
  now = now.later(std::max(0.0, c.seal_km - now.seal_km),
                  std::max(0.0, c.seal_years - now.seal_years));
  now.cooling = static_cast<Cooling>(c.at(Situation::rotor_cooling));
  now.rotor = static_cast<Bearings>(c.at(Situation::rotor_bearings));
  now.gear = static_cast<Bearings>(c.at(Situation::gear_bearings));
  return now;
}

}  // namespace dryshaft
