#include "diagnose/model.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstring>
#include <limits>
#include <stdexcept>

#include "vocabulary/levels.hpp"

namespace dryshaft {
namespace {

constexpr bool present_in(std::size_t state, std::size_t cause) {
  return (state >> cause & 1U) != 0;
}

void multiply(States& into, const States& factor) {
  for (std::size_t s = 0; s < kStateCount; ++s) {
    into[s] *= factor[s];
  }
}

constexpr std::size_t kBlocks = kStateCount / kBlock;

// Two neighbours at a time, as every 64-bit processor can. Left to itself the
// compiler takes these short loops apart and ends up slower than one by one.
using Two = double __attribute__((vector_size(16)));
Two load(const double* from) {
  Two two;
  std::memcpy(&two, from, sizeof two);
  return two;
}
void store(double* to, const Two& two) { std::memcpy(to, &two, sizeof two); }

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

// For each set of states of a block: 1 for those in it, else 0.
constexpr auto kMembers = [] {
  std::array<std::array<double, kBlock>, std::size_t{1} << kBlock> members{};
  for (std::size_t set = 0; set < members.size(); ++set) {
    for (std::size_t i = 0; i < kBlock; ++i) {
      members[set][i] = (set >> i & 1U) != 0 ? 1 : 0;
    }
  }
  return members;
}();
Block members(std::uint64_t states, std::size_t block) {
  return Block::at(kMembers[states >> (block * kBlock) & ((1U << kBlock) - 1U)].data());
}

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
    throw std::length_error(fmt::format("{} floors, where a grade has bits for {}",
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

Model::Model(const Knowledge& knowledge) : grading_(knowledge) {
  for (std::size_t c = 0; c < kCauseCount; ++c) {
    const CauseRule& rule = knowledge.causes[c];
    CausePrior& p = priors_[c];
    p.by = rule.by ? static_cast<int>(*rule.by) : -1;
    p.base = rule.base;
    p.has_wear = rule.wear.has_value();
    p.wear = rule.wear.value_or(Wear{});
    p.given = rule.given;
    for (std::size_t parent = 0; parent < c; ++parent) {
      if (rule.given[parent] > 0) {
        p.parents |= 1U << parent;
      }
    }
    if (rule.damaging == CauseRule::Damaging::yes) {
      for (std::size_t s = 0; s < kStateCount; ++s) {
        damaging_ |= present_in(s, c) ? std::uint64_t{1} << s : 0;
      }
    }
  }
  compile_priors();
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
  }
  for (const FindingSpec& f : findings()) {
    const auto bit = static_cast<std::size_t>(f.id);
    decays_[bit] = f.at_port && f.ordered;
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
      group.decaying |= decays_[f] ? 1U << f : 0U;
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
  const std::array<Group, 2>& group;
  std::array<States, 2> own;
  std::array<const double*, 2> at{};
};

namespace {

constexpr States kOnes = ones();

}  // namespace

void Model::observe(const Case& c, std::uint32_t which, Product& out) const {
  for (std::size_t g = 0; g < groups_.size(); ++g) {
    std::uint32_t left = which & groups_[g].members;
    if (left == 0) {
      out.at[g] = kOnes.data();
      continue;
    }
    const bool fresh = c.port_weight >= 1 || (left & groups_[g].decaying) == 0;
    const auto take = [&](double& weight) {
      const auto f = static_cast<std::size_t>(std::countr_zero(left));
      left &= left - 1;
      const auto level = static_cast<std::uint8_t>(c.level[f]);
      weight = level == 0 && decays_[f] ? c.port_weight : 1;
      return grouped_.data() + grouped_at_[first_[f] + level];
    };
    double weight = 1;
    const double* like = take(weight);
    if (fresh && left == 0) {
      out.at[g] = like;
      continue;
    }
    // A weight below 1 mixes the likelihood with no news; 1 leaves it as it is.
    const std::size_t size = groups_[g].size;
    double* into = out.own[g].data();
    out.at[g] = into;
    const Block one{Two{1, 1}, Two{1, 1}};
    constexpr std::size_t kSmall = 2 * kBlock;
    if (size == kSmall) {  // stays in registers
      Block first = one;
      Block second = one;
      for (;;) {
        const Block rest = one * (1 - weight);
        first = first * (rest + Block::at(like) * weight);
        second = second * (rest + Block::at(like + kBlock) * weight);
        if (left == 0) {
          break;
        }
        like = take(weight);
      }
      first.put(into);
      second.put(into + kBlock);
      continue;
    }
    const double* before = kOnes.data();
    for (;;) {
      const Block rest = one * (1 - weight);
      for (std::size_t s = 0; s < size; s += kBlock) {
        (Block::at(before + s) * (rest + Block::at(like + s) * weight)).put(into + s);
      }
      before = into;
      if (left == 0) {
        break;
      }
      like = take(weight);
    }
  }
}

std::size_t Model::configuration(const Case& c) const {
  std::size_t at = 0;
  for (std::size_t i = 0; i < asked_count_; ++i) {
    at += stride_[asked_[i]] * c.situation[asked_[i]];
  }
  return at;
}

// States with the wearing cause absent carry the chance that it has not worn
// out; those with it present carry what that leaves.
void Model::compile_priors() {
  std::size_t count = 1;
  for (std::size_t c = 0; c < kCauseCount; ++c) {
    const CausePrior& p = priors_[c];
    if (p.has_wear) {
      several_wear_ = wearing_ >= 0;
      wearing_ = several_wear_ ? wearing_ : static_cast<int>(c);
    }
    if (p.by >= 0 && stride_[static_cast<std::size_t>(p.by)] == 0) {
      stride_[static_cast<std::size_t>(p.by)] = count;
      asked_[asked_count_++] = static_cast<std::uint8_t>(p.by);
      count *= spec(static_cast<Situation>(p.by)).values.size();
    }
  }
  if (wearing_ >= 0) {
    const double halves = 2 * priors_[static_cast<std::size_t>(wearing_)].wear.shape;
    constexpr double kMost = 12;
    half_shapes_ =
        halves <= kMost && halves == std::floor(halves) ? static_cast<unsigned>(halves) : 0;
    for (const WearPoint& p : priors_[static_cast<std::size_t>(wearing_)].wear.table) {
      table_.push_back({std::log(p.at), std::log(p.hazard)});
    }
  }
  // For each cause and state: the chance that no parent present there brings it about.
  std::array<States, kCauseCount> not_given;
  for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
    const CausePrior& p = priors_[cause];
    not_given[cause] = ones();
    for (std::size_t parent = 0; p.parents >> parent != 0; ++parent) {
      for (std::size_t s = 0; s < kStateCount; ++s) {
        not_given[cause][s] *= present_in(s, parent) ? 1 - p.given[parent] : 1;
      }
    }
  }
  configured_.resize(count);
  for (std::size_t at = 0; at < count; ++at) {
    ConfiguredPrior& out = configured_[at];
    std::array<double, kCauseCount> not_by_itself{};
    for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
      const CausePrior& p = priors_[cause];
      std::size_t value = 0;
      if (p.by >= 0) {
        const auto by = static_cast<std::size_t>(p.by);
        value = at / stride_[by] % spec(static_cast<Situation>(p.by)).values.size();
      }
      not_by_itself[cause] = 1 - p.base[value];
    }
    for (std::size_t s = 0; s < kStateCount; ++s) {
      double rest = 1;
      double absent_unworn = 1;
      for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
        const double absent = not_by_itself[cause] * not_given[cause][s];
        if (static_cast<int>(cause) == wearing_) {
          absent_unworn = absent;
        } else {
          rest *= present_in(s, cause) ? 1 - absent : absent;
        }
      }
      if (wearing_ < 0) {
        out.worn[s] = rest;
      } else if (present_in(s, static_cast<std::size_t>(wearing_))) {
        out.worn[s] = rest;
        out.unworn[s] = -rest * absent_unworn;
      } else {
        out.unworn[s] = rest * absent_unworn;
      }
    }
  }
}

double Model::check_misses_leak() const {
  const auto leak = std::size_t{1} << static_cast<unsigned>(Cause::seal_leak);
  double missed = 1;
  for (const Finding f : {Finding::port_fluid, Finding::port_residue, Finding::port_rust}) {
    missed *= likelihood(f, 0)[leak];
  }
  return missed;
}

// Straight lines in logs: a Weibull hazard is one, so that few points hold it.
double Model::table_hazard(double at) const {
  if (!(at > 0)) {
    return 0;
  }
  const double log_at = std::log(at);
  const auto after = std::ranges::upper_bound(table_, log_at, {}, &TablePoint::log_at);
  const auto first = std::clamp(after - table_.begin() - 1, std::ptrdiff_t{0},
                                static_cast<std::ptrdiff_t>(table_.size()) - 2);
  const TablePoint& a = table_[static_cast<std::size_t>(first)];
  const TablePoint& b = table_[static_cast<std::size_t>(first) + 1];
  return std::exp(a.log_hazard +
                  (log_at - a.log_at) * (b.log_hazard - a.log_hazard) / (b.log_at - a.log_at));
}

double Model::wear_hazard(double km, double years) const {
  if (wearing_ < 0) {
    return 0;
  }
  const Wear& wear = priors_[static_cast<std::size_t>(wearing_)].wear;
  if (!table_.empty()) {
    // The part that the table does not speak of stays as the rules have it: the worse reading.
    return wear.table_by_years ? table_hazard(years) + std::pow(km / wear.scale_km, wear.shape)
                               : table_hazard(km) + std::pow(years / wear.scale_years, wear.shape);
  }
  const double by_km = km / wear.scale_km;
  const double by_years = years / wear.scale_years;
  if (half_shapes_ == 0) {
    return std::pow(by_km, wear.shape) + std::pow(by_years, wear.shape);
  }
  // A shape such as 2 or 2.5, as most are written: products and one root.
  const auto power = [this](double x) {
    double y = half_shapes_ % 2 != 0 ? std::sqrt(x) : 1;
    for (unsigned n = half_shapes_ / 2; n != 0; --n) {
      y *= x;
    }
    return y;
  };
  return power(by_km) + power(by_years);
}

double Model::wear_probability(double km, double years) const {
  return -std::expm1(-wear_hazard(km, years));
}

// Any number of causes may wear out; this is the slow way, cause by cause.
States Model::prior_by_cause(const Case& c) const {
  States states = ones();
  for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
    const CausePrior& p = priors_[cause];
    double none = 1 - p.base[p.by < 0 ? 0 : c.situation[static_cast<std::size_t>(p.by)]];
    if (p.has_wear && (p.wear.cooling >> c.at(Situation::rotor_cooling) & 1U) != 0) {
      const bool by_table = static_cast<int>(cause) == wearing_ && !table_.empty();
      none *= std::exp(by_table ? -wear_hazard(c.seal_km, c.seal_years)
                                : -(std::pow(c.seal_km / p.wear.scale_km, p.wear.shape) +
                                    std::pow(c.seal_years / p.wear.scale_years, p.wear.shape)));
    }
    for (std::size_t s = 0; s < kStateCount; ++s) {
      double absent = none;
      for (std::size_t parent = 0; p.parents >> parent != 0; ++parent) {
        absent *= present_in(s, parent) ? 1 - p.given[parent] : 1;
      }
      states[s] *= present_in(s, cause) ? 1 - absent : absent;
    }
  }
  return states;
}

// The chance that nothing has worn out yet.
double Model::unworn(const Case& c) const {
  if (wearing_ < 0) {
    return 1;
  }
  const Wear& wear = priors_[static_cast<std::size_t>(wearing_)].wear;
  const bool wears = (wear.cooling >> c.at(Situation::rotor_cooling) & 1U) != 0;
  return wears ? std::exp(-wear_hazard(c.seal_km, c.seal_years)) : 1;
}

States Model::prior(const Case& c) const {
  if (several_wear_) {
    return prior_by_cause(c);
  }
  const ConfiguredPrior& p = configured_[configuration(c)];
  const double chance = unworn(c);
  States states;
  for (std::size_t s = 0; s < kStateCount; ++s) {
    states[s] = p.worn[s] + p.unworn[s] * chance;
  }
  return states;
}

// The likelihood of one observed finding. Harmless news from the port is mixed
// with no news as it grows old: a leak may have begun since.
void Model::factor(const Case& c, std::size_t finding, States& out) const {
  const auto level = static_cast<std::uint8_t>(c.level[finding]);
  const States& like = likelihood_[first_[finding] + level];
  if (level == 0 && decays_[finding] && c.port_weight < 1) {
    for (std::size_t s = 0; s < kStateCount; ++s) {
      out[s] = 1 - c.port_weight * (1 - like[s]);
    }
  } else {
    out = like;
  }
}

Posterior posterior_of(const States& unnormalised, std::uint64_t damaging) {
  // By place in a block, by block (two halves each), and over damaging states.
  Block by_place{};
  Block damaged{};
  std::array<Two, kBlocks> by_block;
  for (std::size_t b = 0; b < kBlocks; ++b) {
    const Block x = Block::at(&unnormalised[b * kBlock]);
    by_place = by_place + x;
    damaged = damaged + x * members(damaging, b);
    by_block[b] = x.first + x.second;
  }
  const double total = by_place.sum();
  const double scale = 1 / total;
  Posterior p;
  for (std::size_t b = 0; b < kBlocks; ++b) {
    (Block::at(&unnormalised[b * kBlock]) * scale).put(&p.state[b * kBlock]);
  }
  p.risk = damaged.sum() / total;  // as `Sum` has it
  p.graded_risk = p.risk;
  p.cause[0] = (by_place.first[1] + by_place.second[1]) * scale;
  p.cause[1] = (by_place.second[0] + by_place.second[1]) * scale;
  // The other causes from the last down: sum up the half of the blocks with the
  // cause, then fold it onto the other half.
  for (std::size_t c = kCauseCount; c-- > 2;) {
    const std::size_t half = (std::size_t{1} << c) / kBlock;
    Two present{};
    for (std::size_t b = 0; b < half; ++b) {
      present += by_block[half + b];
      by_block[b] += by_block[half + b];
    }
    p.cause[c] = (present[0] + present[1]) * scale;
  }
  return p;
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

// Prior and both tables of likelihoods in one pass over the states, a block at a time.
template <typename Take>
void Model::each_block(const Case& c, double unworn, const Product& product, Take take) const {
  if (several_wear_) {
    const States prior = prior_by_cause(c);
    for (std::size_t b = 0; b < kBlocks; ++b) {
      take(b, Block::at(&prior[b * kBlock]) * product.factor(b));
    }
    return;
  }
  const ConfiguredPrior& p = configured_[configuration(c)];
  for (std::size_t b = 0; b < kBlocks; ++b) {
    const Block prior = Block::at(&p.worn[b * kBlock]) + Block::at(&p.unworn[b * kBlock]) * unworn;
    take(b, prior * product.factor(b));
  }
}

namespace {

// All states and the damaging ones, block by block.
struct Sum {
  std::uint64_t damaging;
  Block all{};
  Block damaged{};
  void add(std::size_t b, const Block& here) {
    all = all + here;
    damaged = damaged + here * members(damaging, b);
  }
  [[nodiscard]] double risk() const { return damaged.sum() / all.sum(); }
};

}  // namespace

double Model::graded_risk(const Case& c, double unworn) const {
  Product product(groups_);
  observe(c, observed_in(c.level) & carrying_ & ~explains_, product);
  Sum sum{damaging_};
  each_block(c, unworn, product, [&](std::size_t b, const Block& here) { sum.add(b, here); });
  return sum.risk();
}

Risks Model::risks(const Case& c) const {
  const double chance = several_wear_ ? 0 : unworn(c);
  const std::uint32_t seen = observed_in(c.level) & carrying_;
  Risks risks{.risk = 0, .graded_risk = graded_risk(c, chance)};
  risks.risk = risks.graded_risk;
  if ((seen & explains_) != 0) {
    Product product(groups_);
    observe(c, seen & ~explains_, product);
    Product sound(groups_);
    observe(c, seen & explains_, sound);
    Sum sum{damaging_};
    each_block(c, chance, product,
               [&](std::size_t b, const Block& here) { sum.add(b, here * sound.factor(b)); });
    risks.risk = sum.risk();
  }
  return risks;
}

Posterior Model::infer(const Case& c) const {
  const std::uint32_t seen = observed_in(c.level) & carrying_;
  States states;
  Product product(groups_);
  observe(c, seen & ~explains_, product);
  each_block(c, several_wear_ ? 0 : unworn(c), product,
             [&](std::size_t b, const Block& here) { here.put(&states[b * kBlock]); });
  if ((seen & explains_) == 0) {
    return posterior_of(states, damaging_);
  }
  Sum graded{damaging_};
  for (std::size_t b = 0; b < kBlocks; ++b) {
    graded.add(b, Block::at(&states[b * kBlock]));
  }
  observe(c, seen & explains_, product);
  for (std::size_t b = 0; b < kBlocks; ++b) {
    (Block::at(&states[b * kBlock]) * product.factor(b)).put(&states[b * kBlock]);
  }
  Posterior p = posterior_of(states, damaging_);
  p.graded_risk = graded.risk();
  return p;
}

Weights Model::weigh(const Case& c) const {
  Weights weights{};
  std::array<std::size_t, kFindingCount> seen{};
  std::size_t n = 0;
  for (std::size_t f = 0; f < kFindingCount; ++f) {
    if (c.level[f] >= 0 && carries_[f]) {
      seen[n++] = f;
    }
  }
  // after[i]: product of the factors of seen[i], seen[i + 1], ...
  std::array<States, kFindingCount + 1> after;
  std::array<States, kFindingCount> own;
  after[n] = ones();
  for (std::size_t i = n; i-- > 0;) {
    factor(c, seen[i], own[i]);
    after[i] = after[i + 1];
    multiply(after[i], own[i]);
  }
  const auto log_odds = [](const States& states) {
    std::array<double, kCauseCount> odds{};
    for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
      double with = 0;
      double without = 0;
      for (std::size_t s = 0; s < kStateCount; ++s) {
        (present_in(s, cause) ? with : without) += states[s];
      }
      // Certainty, as of a seal that must have worn out, has no odds that could be told apart.
      constexpr double kNothing = std::numeric_limits<double>::min();
      odds[cause] = 10 * std::log10(std::max(with, kNothing) / std::max(without, kNothing));
    }
    return odds;
  };
  States before = prior(c);
  States all = before;
  multiply(all, after[0]);
  const auto full = log_odds(all);
  for (std::size_t i = 0; i < n; ++i) {
    States rest = before;
    multiply(rest, after[i + 1]);
    const auto left_out = log_odds(rest);
    for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
      weights[seen[i]][cause] = full[cause] - left_out[cause];
    }
    multiply(before, own[i]);
  }
  return weights;
}

}  // namespace dryshaft
