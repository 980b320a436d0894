#include "prove/argument.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>

#include "decide/grading.hpp"
#include "prove/contexts.hpp"
#include "prove/sweep.hpp"

namespace dryshaft::proof {
namespace {

using proof::shown;

std::string shown_causes(std::size_t state) {
  std::string text;
  for (const CauseSpec& c : causes()) {
    if (has(static_cast<std::uint32_t>(state), c.id)) {
      text += fmt::format("{}{}", text.empty() ? "" : " + ", c.name);
    }
  }
  return text.empty() ? "no cause" : text;
}

// Damage as findings tell it apart: a state of causes, and what of it has broken down.
struct Damage {
  std::size_t state = 0;
  std::size_t broken = 0;  // a kind of breakdown
};

std::string shown(const Damage& d) {
  constexpr std::array<std::string_view, kBreakdowns> kBroken = {
      "", ", rotor bearings broken down", ", insulation broken down", ", both broken down"};
  return shown_causes(d.state) + std::string(kBroken.at(d.broken));
}

// Every damage; none stands first.
std::vector<Damage> damages() {
  std::vector<Damage> all;
  for (std::size_t s = 0; s < kStateCount; ++s) {
    for (std::size_t b = 0; b < kBreakdowns; ++b) {
      const auto can = [&](std::size_t harm) {
        return (b >> harm & 1U) == 0 || has(static_cast<std::uint32_t>(s), kHarms.at(harm));
      };
      if (can(0) && can(1)) {
        all.push_back({s, b});
      }
    }
  }
  return all;
}

// Leader and details of a finding.
std::uint32_t family_of(const FindingSpec& f) {
  const Finding leader = f.detail_of.value_or(f.id);
  std::uint32_t all = 1U << idx(leader);
  for (const FindingSpec& other : findings()) {
    if (other.detail_of == leader) {
      all |= 1U << idx(other.id);
    }
  }
  return all;
}

}  // namespace

Structure structure_of(const Space& space) {
  const Knowledge& k = space.knowledge;
  Structure s;
  for (const CauseRule& c : k.causes) {
    if (c.damaging == CauseRule::Damaging::yes) {
      s.damaging |= 1U << idx(c.cause);
    }
  }
  // A leak brings harm about, so these go together; the other causes come on their own.
  for (const Cause c : kHarms) {
    ++s.states;
    if (has(s.damaging, c) != has(s.damaging, Cause::seal_leak)) {
      s.obstacles.push_back(fmt::format(
          "{} is brought about by {}, and only one of them is damaging: the two groups of causes "
          "are not independent",
          place(k.causes[idx(c)]), name(Cause::seal_leak)));
    }
  }
  if (s.damaging == 0) {
    s.obstacles.emplace_back("no cause is marked damaging \"yes\"");
  }
  std::uint32_t direct = 0;
  for (const Link& link : k.links) {
    ++s.states;
    if (!has(s.damaging, link.cause)) {
      direct |= 1U << idx(link.finding);
    }
  }
  for (const FindingSpec& f : findings()) {
    if ((family_of(f) & direct) != 0) {
      s.mixed |= 1U << idx(f.id);
    } else if (space.model.carries_evidence(f.id)) {
      s.pure |= 1U << idx(f.id);
    }
    if (space.model.explains_only(f.id)) {
      s.explaining |= 1U << idx(f.id);
    }
    if (has(s.mixed & space.model.show_breakdown(), f.id)) {
      s.obstacles.push_back(
          fmt::format("{} shows a breakdown, and bears on causes that are not damaging", f.name));
    }
  }
  const auto refuse_causes = [&](const Condition& c, const std::string& whose) {
    ++s.states;
    if (mentions_of(c).causes) {
      s.obstacles.push_back(fmt::format(
          "{} asks for the probability of a cause, which may fall as risk rises", whose));
    }
  };
  for (const Floor& f : k.floors) {
    refuse_causes(f.when, place(f));
  }
  refuse_causes(k.settings.ungraded, "\"ungraded\"");
  refuse_causes(k.settings.sound, "\"sound\"");
  return s;
}

// ------------------------------------------------- risk, pure findings

namespace {

// Of the levels of one finding in each damage.
class LevelChances {
 public:
  LevelChances(const Model& model, Finding f) : unsaid_{model.unsaid(nothing_observed())} {
    Levels one = nothing_observed();
    for (std::size_t l = 0; l < spec(f).levels.size(); ++l) {
      likelihood_.push_back(&model.likelihood(f, static_cast<int>(l)));
      broken_.push_back(model.broken(f, static_cast<int>(l)));
      one[idx(f)] = static_cast<std::int8_t>(l);
      unsaid_.push_back(model.unsaid(one));
    }
  }
  [[nodiscard]] double at(std::size_t level, const Damage& d) const {
    return (*likelihood_[level])[d.state] * broken_[level].at(d.broken);
  }
  // That nobody says so of a breakdown, next to this level (-1: not observed) and no other word.
  [[nodiscard]] double unsaid(int level, const Damage& d) const {
    return unsaid_[static_cast<std::size_t>(level) + 1].at(d.broken);
  }

 private:
  std::vector<const States*> likelihood_;
  std::vector<std::array<double, kBreakdowns>> broken_;
  std::vector<std::array<double, kBreakdowns>> unsaid_;  // not observed first
};

}  // namespace

Step pure_rises(const Space& space, const Structure& structure) {
  Step step;
  const std::vector<Damage> all = damages();
  for (const FindingSpec& f : findings()) {
    if (!has(structure.pure, f.id)) {
      continue;
    }
    const LevelChances chance(space.model, f.id);
    for (std::size_t l = 0; l < f.levels.size(); ++l) {
      ++step.states;
      if (!(chance.at(l, {}) > 0)) {
        step.fail(fmt::format("{} cannot be without damage", shown(f.id, static_cast<int>(l))));
      }
      for (const Damage& d : all) {
        ++step.states;
        if (chance.at(l, d) != chance.at(l, {d.state & structure.damaging, d.broken})) {
          step.fail(fmt::format("{} depends on a cause that is not damaging in state {}",
                                shown(f.id, static_cast<int>(l)), shown(d)));
        }
        for (std::size_t h = l + 1; f.ordered && h < f.levels.size(); ++h) {
          ++step.states;
          const double low = chance.at(l, d) * chance.at(h, {});
          const double high = chance.at(h, d) * chance.at(l, {});
          // Whether something else tells of a breakdown or not.
          if (falls(low, high) || falls(low * chance.unsaid(static_cast<int>(l), d),
                                        high * chance.unsaid(static_cast<int>(h), d))) {
            step.fail(fmt::format("{} speaks less for {} than {} does",
                                  shown(f.id, static_cast<int>(h)), shown(d),
                                  shown(f.id, static_cast<int>(l))));
          }
        }
      }
    }
  }
  return step;
}

Step pure_unknown(const Space& space, const Structure& structure, BestLevels& best) {
  Step step;
  const std::vector<Damage> all = damages();
  for (const FindingSpec& f : findings()) {
    if (!has(structure.pure, f.id)) {
      continue;
    }
    const LevelChances chance(space.model, f.id);
    std::uint8_t good = 0;
    for (std::size_t l = 0; l < f.levels.size(); ++l) {
      step.states += all.size();
      const bool never = std::ranges::none_of(all, [&](const Damage& d) {
        return falls(chance.at(l, d), chance.at(l, {})) ||
               falls(chance.at(l, d) * chance.unsaid(static_cast<int>(l), d),
                     chance.at(l, {}) * chance.unsaid(-1, d));
      });
      good = static_cast<std::uint8_t>(good | (never ? 1U << l : 0U));
    }
    best[idx(f.id)] = good;
    if (f.ordered ? (good & 1U) == 0 : good == 0) {
      step.fail(fmt::format("not to observe {} can give a lower risk than {}", name(f.id),
                            f.ordered ? shown(f.id, 0) : "any of its values"));
    }
  }
  return step;
}

// ------------------------------------------- risk, the mixed component

namespace {

// One mixed finding at each of its levels, next to every joint level of some
// others, with the chance of that in each damage and each state of the other causes.
class Beside {
 public:
  Beside(const Space& space, const Structure& structure, const FindingSpec& f,
         std::uint32_t members)
      : f_(f), bound_(needed_by(f) != 0) {
    std::vector<LevelChances> chances = {LevelChances(space.model, f.id)};
    for (const FindingSpec& other : findings()) {
      bound_ = bound_ || has(needed_by(other), f.id);
      if (has(members, other.id) && other.id != f.id) {
        others_.push_back(other.id);
        chances.emplace_back(space.model, other.id);
        contexts_ *= static_cast<double>(other.levels.size()) + 1;
      }
    }
    for (std::size_t s = 0; s < kStateCount; ++s) {
      if ((s & structure.damaging) == 0) {
        rest_.push_back(s);
      }
    }
    for (const Damage& d : damages()) {
      if ((d.state & ~structure.damaging) != 0) {
        continue;
      }
      // Of damage that these findings do not tell apart the first is enough; none comes first.
      damage_.push_back(d);
      std::vector<Factors> all;
      for (std::size_t i = 0; i < chances.size(); ++i) {
        all.push_back(factors_of(chances[i], i == 0 ? f.id : others_[i - 1], d));
      }
      if (std::ranges::find(by_damage_, all) != by_damage_.end()) {
        damage_.pop_back();
      } else {
        by_damage_.push_back(std::move(all));
      }
    }
    own_ = joined(0);
    for (std::size_t i = 0; i < others_.size(); ++i) {
      factors_.push_back(joined(i + 1));
    }
  }

  [[nodiscard]] double contexts() const { return contexts_; }
  [[nodiscard]] std::size_t rest_count() const { return rest_.size(); }
  [[nodiscard]] std::size_t damage_count() const { return damage_.size(); }
  [[nodiscard]] const Damage& damage(std::size_t d) const { return damage_[d]; }

  // LevelChances of the levels of the finding, not observed first, next to `others`.
  struct At {
    Levels others{};
    std::array<bool, kMaxLevels + 1> exists{};
    // chance[1 + level]: by damage, then rest
    std::array<std::vector<double>, kMaxLevels + 1> chance;
  };

  template <typename Visit>
  void each(const Visit& visit) {
    products_.assign(others_.size() + 1, std::vector<double>(damage_.size() * rest_.size(), 1.0));
    Levels levels = nothing_observed();
    levels[idx(f_.id)] = 1;  // whatever describes it may be observed on the way
    walk(0, levels, visit);
  }

  // Whether what enters as chances of two levels never speaks less for damage `d` at `high` than
  // at `low`, however the other causes are distributed: then the odds of damage have in each pair
  // of their states n, m a term of q(n) q(m), and none of these is negative.
  [[nodiscard]] bool rises(const std::vector<double>& low, const std::vector<double>& high,
                           std::size_t d) const {
    const double* low_d = &low[d * rest_.size()];
    const double* high_d = &high[d * rest_.size()];
    for (std::size_t n = 0; n < rest_.size(); ++n) {
      for (std::size_t m = n; m < rest_.size(); ++m) {
        if (falls(low_d[n] * high[m] + low_d[m] * high[n],
                  high_d[n] * low[m] + high_d[m] * low[n])) {
          return false;
        }
      }
    }
    return true;
  }

  static std::string shown(const Levels& others) {
    std::string text;
    for (const FindingSpec& f : findings()) {
      if (others[idx(f.id)] >= 0) {
        text +=
            fmt::format("{}{}", text.empty() ? "" : ", ", proof::shown(f.id, others[idx(f.id)]));
      }
    }
    return text.empty() ? "nothing observed" : text;
  }

 private:
  using Factors = std::vector<std::vector<double>>;  // by level; by damage, then rest

  // In one damage.
  [[nodiscard]] Factors factors_of(const LevelChances& chances, Finding f, const Damage& d) const {
    Factors by_level(spec(f).levels.size());
    for (std::size_t l = 0; l < by_level.size(); ++l) {
      for (const std::size_t n : rest_) {
        by_level[l].push_back(chances.at(l, {d.state | n, d.broken}));
      }
    }
    return by_level;
  }

  // Of one finding, all damages side by side.
  [[nodiscard]] Factors joined(std::size_t i) const {
    Factors by_level = by_damage_.front()[i];
    for (std::size_t d = 1; d < by_damage_.size(); ++d) {
      for (std::size_t l = 0; l < by_level.size(); ++l) {
        const std::vector<double>& more = by_damage_[d][i][l];
        by_level[l].insert(by_level[l].end(), more.begin(), more.end());
      }
    }
    return by_level;
  }

  template <typename Visit>
  void walk(std::size_t depth, Levels& levels, const Visit& visit) {
    if (depth == others_.size()) {
      leaf(levels, visit);
      return;
    }
    const Finding f = others_[depth];
    const bool told = exists(f, levels);
    for (int l = -1; l < (told ? static_cast<int>(spec(f).levels.size()) : 0); ++l) {
      levels[idx(f)] = static_cast<std::int8_t>(l);
      products_[depth + 1] = products_[depth];
      if (l >= 0) {
        multiply(products_[depth + 1], factors_[depth][static_cast<std::size_t>(l)]);
      }
      walk(depth + 1, levels, visit);
    }
    levels[idx(f)] = -1;
  }

  template <typename Visit>
  void leaf(const Levels& levels, const Visit& visit) {
    at_.others = levels;
    for (std::size_t place = 0; place <= f_.levels.size(); ++place) {
      at_.others[idx(f_.id)] = static_cast<std::int8_t>(static_cast<int>(place) - 1);
      at_.exists.at(place) = !bound_ || all_exist(at_.others);
      at_.chance.at(place) = products_.back();
      if (place > 0) {
        multiply(at_.chance.at(place), own_[place - 1]);
      }
    }
    at_.others[idx(f_.id)] = -1;
    visit(at_);
  }

  static void multiply(std::vector<double>& into, const std::vector<double>& factors) {
    for (std::size_t i = 0; i < factors.size(); ++i) {
      into[i] *= factors[i];
    }
  }

  static bool all_exist(const Levels& levels) {
    Levels left = levels;
    drop_what_does_not_exist(left);
    return left == levels;
  }

  const FindingSpec& f_;
  bool bound_;  // needs another finding, or is needed by one
  std::vector<Finding> others_;
  std::vector<Damage> damage_;
  std::vector<std::size_t> rest_;                // states of the causes that are not damaging
  std::vector<std::vector<Factors>> by_damage_;  // the finding, then the others
  std::vector<std::vector<double>> products_;    // of the first few others
  std::vector<Factors> factors_;
  Factors own_;
  At at_;
  double contexts_ = 1;
};

constexpr double kMostBeside = 50'000'000;

bool too_large(const Beside& beside, Step& step) {
  if (beside.contexts() > kMostBeside) {
    step.fail(
        fmt::format("the findings that bear on causes that are not damaging have {:.3g} joint "
                    "levels, too many to enumerate",
                    beside.contexts()));
    return true;
  }
  return false;
}

// The mixed findings that can be observed next to one, those that describe it
// left out where `undescribed`; with `graded`, only findings by which the grade goes.
std::uint32_t members_beside(const Structure& structure, const FindingSpec& f, bool graded,
                             bool undescribed) {
  std::uint32_t members = structure.mixed;
  for (const FindingSpec& other : findings()) {
    if ((graded && has(structure.explaining, other.id)) ||
        (undescribed && other.detail_of == f.id)) {
      members &= ~(1U << idx(other.id));
    }
  }
  return members | 1U << idx(f.id);
}

// A worse level of a finding is never less likely with damage, next to all others.
void rises_beside(const Space& space, const Structure& structure, const FindingSpec& f, bool graded,
                  Step& step) {
  // What describes it exists only above harmless: with two levels, nowhere.
  Beside beside(space, structure, f, members_beside(structure, f, graded, f.levels.size() == 2));
  if (too_large(beside, step)) {
    return;
  }
  const std::size_t count = f.levels.size();
  beside.each([&](const Beside::At& at) {
    for (std::size_t d = 1; d < beside.damage_count() && !step.failed_enough(); ++d) {
      for (std::size_t l = 0; l < count; ++l) {
        for (std::size_t h = l + 1; h < count; ++h) {
          if (!at.exists.at(l + 1) || !at.exists.at(h + 1)) {
            continue;
          }
          ++step.states;
          if (!beside.rises(at.chance.at(l + 1), at.chance.at(h + 1), d)) {
            step.fail(fmt::format("{} speaks less for {} than {} does, next to: {}",
                                  shown(f.id, static_cast<int>(h)), shown(beside.damage(d)),
                                  shown(f.id, static_cast<int>(l)), Beside::shown(at.others)));
          }
        }
      }
    }
  });
}

// Some level of a finding is no more likely with damage, next to all others.
void unknown_beside(const Space& space, const Structure& structure, const FindingSpec& f,
                    bool graded, BestLevels& best, Step& step) {
  // What is not observed is not described.
  Beside beside(space, structure, f, members_beside(structure, f, graded, true));
  if (too_large(beside, step)) {
    return;
  }
  beside.each([&](const Beside::At& at) {
    if (!at.exists[0] || !at.exists[1] || step.failed_enough()) {
      return;
    }
    std::uint8_t good = 0;  // levels that no state of damage makes likelier
    for (std::size_t l = 0; l < f.levels.size(); ++l) {
      bool all = true;
      for (std::size_t d = 1; d < beside.damage_count(); ++d) {
        ++step.states;
        all = all && beside.rises(at.chance.at(l + 1), at.chance[0], d);
      }
      good = static_cast<std::uint8_t>(good | (all ? 1U << l : 0U));
    }
    std::uint8_t& kept = best[idx(f.id)];  // one level for all
    kept = static_cast<std::uint8_t>(kept & good);
    if (f.ordered ? (good & 1U) == 0 : kept == 0) {
      step.fail(fmt::format("not to observe {} can give a lower risk than {}, next to: {}", f.name,
                            f.ordered ? shown(f.id, 0) : "each of its values",
                            Beside::shown(at.others)));
    }
  });
}

}  // namespace

Step mixed_rises(const Space& space, const Structure& structure) {
  Step step;
  for (const FindingSpec& f : findings()) {
    if (f.ordered && has(structure.mixed, f.id) && !has(structure.explaining, f.id)) {
      rises_beside(space, structure, f, false, step);
      rises_beside(space, structure, f, true, step);
    }
  }
  return step;
}

Step mixed_unknown(const Space& space, const Structure& structure, BestLevels& best) {
  Step step;
  for (const FindingSpec& f : findings()) {
    if (!has(structure.mixed, f.id)) {
      continue;
    }
    best[idx(f.id)] = static_cast<std::uint8_t>((1U << f.levels.size()) - 1U);
    if (!has(structure.explaining, f.id)) {
      unknown_beside(space, structure, f, false, best, step);
      unknown_beside(space, structure, f, true, best, step);
    }  // else by the mean: its levels share out what is known without it
  }
  return step;
}

// ------------------------------------------------------- distance and age

namespace {

// Before a look: hidden damage too.
double damage_in(const Prior& prior) {
  double sum = 0;
  for (const States& state : prior.state) {
    for (std::size_t s = 0; s < kStateCount; ++s) {
      sum += state[s] * prior.damaged[s];
    }
  }
  return sum;
}

}  // namespace

Step wear_rises(const Space& space) {
  Step step;
  const auto rises = [](const Wear& w) {
    return w.shape > 0 && w.scale_km > 0 && w.scale_years > 0 &&
           std::ranges::is_sorted(w.table, {}, &WearPoint::hazard);
  };
  for (const CauseRule& c : space.knowledge.causes) {
    if (c.wear && !rises(*c.wear)) {
      step.fail(fmt::format("{} has a wear-out that does not rise", place(c)));
    }
  }
  // Numerically, distance and age each on its own.
  const std::vector<double> years = {0, 0.5, 1, 2, 5, 10, 15, 20, 30, 50};
  for (const AsBuilt& unit : space.configurations.all) {
    Draft d;
    d.unit = unit;
    Case c = space.realize(d);
    std::vector<double> before(years.size(), 0.0);
    for (const double km : space.distances) {
      double younger = 0;
      for (std::size_t y = 0; y < years.size(); ++y) {
        ++step.states;
        c.seal_km = km;
        c.seal_years = years[y];
        const double risk = damage_in(space.model.prior(c));
        if (falls(younger, risk) || falls(before[y], risk)) {
          step.fail(
              fmt::format("the chance of damage before a look falls on the way to {:.0f} km and "
                          "{:g} years",
                          km, years[y]));
        }
        younger = risk;
        before[y] = risk;
      }
    }
  }
  return step;
}

// ------------------------------------------------------------ the process

Step groups_apart(const Space& space) {
  Step step;
  for (const AsBuilt& unit : space.configurations.all) {
    for (const double km : space.distances) {
      Draft d;
      d.unit = unit;
      d.km = km;
      const Belief belief = space.model.prior(space.realize(d)).belief;
      std::array<double, kRests> rests{};
      for (const auto& row : belief.at) {
        for (std::size_t r = 0; r < kRests; ++r) {
          rests[r] += row[r];
        }
      }
      for (const auto& row : belief.at) {
        double core = 0;
        for (const double p : row) {
          core += p;
        }
        for (std::size_t r = 0; r < kRests; ++r) {
          ++step.states;
          constexpr double kRounding = 1e-12;
          if (std::abs(row[r] - core * rests[r]) > kRounding) {
            step.fail(fmt::format("at {:.0f} km the other causes depend on leak and harm", km));
          }
        }
      }
    }
  }
  return step;
}

Step stages_in_order(const Knowledge& k) {
  Step step;
  const auto in_order = [&](const Item& item, bool is, std::string_view what) {
    ++step.states;
    if (!is) {
      step.fail(fmt::format("{}: {}", place(item), what));
    }
  };
  for (std::size_t s = 0; s < kSealStages; ++s) {
    const StageRule& stage = k.stages.at(s);
    in_order(stage,
             stage.reaches >= (s == 0 ? 0 : k.stages.at(s - 1).reaches) && stage.reaches <= 1,
             "less reaches the tip than in the stage before");
    for (const HarmRule& harm : k.harms) {
      in_order(harm,
               harm.after_km.at(s) > 0 && harm.breakdown_km > 0 &&
                   (s == 0 || harm.after_km.at(s) <= harm.after_km.at(s - 1)),
               fmt::format("{} harms more slowly than the stage before", stage.id));
    }
  }
  return step;
}

namespace {

struct Core {
  std::size_t seal;
  std::size_t corrosion;
  std::size_t insulation;
  [[nodiscard]] std::size_t place() const { return core_of(seal, corrosion, insulation); }
};

constexpr Core core_at(std::size_t place) {
  return {place / kHarmStates / kHarmStates, place / kHarmStates % kHarmStates,
          place % kHarmStates};
}

// Each as far or further in all three.
constexpr bool as_bad(const Core& worse, const Core& than) {
  return worse.seal >= than.seal && worse.corrosion >= than.corrosion &&
         worse.insulation >= than.insulation;
}

// Every set of cores that holds with each one all that are as bad, as bits: for corrosion and
// insulation, from which stage of the seal on.
std::vector<std::uint64_t> sets_upwards() {
  std::vector<std::uint64_t> sets;
  std::array<std::size_t, kHarmStates * kHarmStates> from{};
  const auto walk = [&](const auto& self, std::size_t i) -> void {
    if (i == from.size()) {
      std::uint64_t set = 0;
      for (std::size_t c = 0; c < kCores; ++c) {
        set |= core_at(c).seal >= from.at(c % from.size()) ? std::uint64_t{1} << c : 0;
      }
      sets.push_back(set);
      return;
    }
    const std::size_t less_corroded = i >= kHarmStates ? from.at(i - kHarmStates) : kSealStates;
    const std::size_t less_lost = i % kHarmStates != 0 ? from.at(i - 1) : kSealStates;
    for (from.at(i) = 0; from.at(i) <= std::min(less_corroded, less_lost); ++from.at(i)) {
      self(self, i + 1);
    }
  };
  walk(walk, 0);
  return sets;
}

// Where each core is after a way, the other causes added up.
using Ways = std::array<std::array<double, kCores>, kCores>;
Ways ways_of(const Life& life, const Clock& from, const Clock& to) {
  Ways ways{};
  for (std::size_t c = 0; c < kCores; ++c) {
    Belief belief;
    belief.at.at(c)[0] = 1;
    life.drive(belief, from, to);
    for (std::size_t end = 0; end < kCores; ++end) {
      for (const double p : belief.at.at(end)) {
        ways.at(c).at(end) += p;
      }
    }
  }
  return ways;
}

void keeps_order(const Ways& ways, const std::vector<std::uint64_t>& sets, double km, Step& step) {
  const auto shown_core = [](std::size_t place) {
    const Core c = core_at(place);
    return fmt::format("stage {}, corrosion {}, insulation {}", c.seal, c.corrosion, c.insulation);
  };
  constexpr double kRounding = 1e-12;
  constexpr double kOfTables = 1e-4;  // long pieces of a way are worked out as wholes
  for (std::size_t c = 0; c < kCores; ++c) {
    for (std::size_t end = 0; end < kCores; ++end) {
      ++step.states;
      if (ways.at(c).at(end) > kRounding && !as_bad(core_at(end), core_at(c))) {
        step.fail(fmt::format("{} heals within {:g} km", shown_core(c), km));
      }
    }
  }
  for (const std::uint64_t set : sets) {
    std::array<double, kCores> ends_in{};
    for (std::size_t c = 0; c < kCores; ++c) {
      for (std::size_t end = 0; end < kCores; ++end) {
        ends_in.at(c) += (set >> end & 1U) != 0 ? ways.at(c).at(end) : 0;
      }
    }
    for (std::size_t c = 0; c < kCores; ++c) {
      const Core core = core_at(c);
      for (const Core& worse : {Core{core.seal + 1, core.corrosion, core.insulation},
                                Core{core.seal, core.corrosion + 1, core.insulation},
                                Core{core.seal, core.corrosion, core.insulation + 1}}) {
        if (worse.seal >= kSealStates || worse.corrosion >= kHarmStates ||
            worse.insulation >= kHarmStates) {
          continue;
        }
        ++step.states;
        if (ends_in.at(worse.place()) < ends_in.at(c) - kOfTables) {
          step.fail(
              fmt::format("{:g} km after it was worse, at {}, a unit is better off than one "
                          "that was at {}",
                          km, shown_core(worse.place()), shown_core(c)));
        }
      }
    }
  }
}

}  // namespace

Step process_keeps_order(const Space& space) {
  Step step;
  const std::vector<std::uint64_t> sets = sets_upwards();
  each_way(space, [&](const Clock& from, const Clock& to, double km) {
    keeps_order(ways_of(space.model.life(), from, to), sets, km, step);
  });
  return step;
}

// ------------------------------------------------------- floors and grade

namespace {

constexpr RiskBand kBands[] = {RiskBand::low, RiskBand::raised, RiskBand::high};
constexpr Grade kWorst[] = {Grade::A, Grade::B, Grade::C, Grade::D};

// What a grade depends on, apart from risk and the floors left aside.
struct Ground {
  Grade worst = Grade::A;
  bool ungraded = false;
  bool sound = false;
};

class Floors {
 public:
  // Floors that speak of any of these findings or situations.
  Floors(const Knowledge& k, std::uint32_t findings_mask, std::uint32_t situations_mask) : k_(k) {
    mentions = mentions_of(k.settings.ungraded);
    mentions.add(k.settings.sound);
    for (const Floor& f : k.floors) {
      const Mentions m = mentions_of(f.when);
      if ((m.findings & findings_mask) != 0 || (m.situations & situations_mask) != 0) {
        floors_.push_back(&f);
        mentions.add(f.when);
      }
    }
  }

  [[nodiscard]] Ground at(Facts facts, RiskBand band) const {
    facts.situation[idx(Situation::risk)] = static_cast<std::uint8_t>(band);
    facts.grade = Grade::A;
    Ground g;
    g.ungraded = holds(k_.settings.ungraded, facts);
    g.sound = holds(k_.settings.sound, facts);
    for (const Floor* f : floors_) {
      if (holds(f->when, facts)) {
        g.worst = std::max(g.worst, f->grade);
      }
    }
    return g;
  }

  Mentions mentions;

 private:
  const Knowledge& k_;
  std::vector<const Floor*> floors_;
};

Grade grade_of(const Ground& g, Grade others, RiskBand band) {
  return grade_on({std::max(g.worst, others), g.ungraded, g.sound, band});
}

// Compares two grounds under each other floor and each pair of bands in order.
void compare(const Floors& floors, const Facts& better, const Facts& worse, Step& step,
             const auto& say) {
  bool failed = false;
  for (const RiskBand b : kBands) {
    const Ground before = floors.at(better, b);
    for (const RiskBand w : kBands) {
      if (w < b) {
        continue;
      }
      const Ground after = floors.at(worse, w);
      for (const Grade others : kWorst) {
        ++step.states;
        failed =
            failed || severity(grade_of(after, others, w)) < severity(grade_of(before, others, b));
      }
    }
  }
  if (failed) {
    step.fail(say());
  }
}

std::string shown(const Facts& facts) {
  std::string text;
  for (const FindingSpec& f : findings()) {
    if (facts.level[idx(f.id)] >= 0) {
      text += fmt::format("{}{}", text.empty() ? "" : ", ", shown(f.id, facts.level[idx(f.id)]));
    }
  }
  return fmt::format(
      "{}, port check {}", text.empty() ? "nothing observed" : text,
      spec(Situation::port_check).values[facts.situation[idx(Situation::port_check)]].id);
}

}  // namespace

Step floors_rise(const Space& space) {
  Step step;
  for (const FindingSpec& f : findings()) {
    if (!f.ordered) {
      continue;
    }
    Floors floors(space.knowledge, 1U << idx(f.id), 0);
    const Contexts contexts(floors.mentions.findings | 1U << idx(f.id), floors.mentions.situations);
    if (!fits(contexts, f.name, step)) {
      continue;
    }
    contexts.each(nothing_known(), [&](const Facts& facts) {
      const std::int8_t l = facts.level[idx(f.id)];
      if (l < 0 || !consistent(facts, floors.mentions)) {
        return;
      }
      for (int h = l + 1; h < static_cast<int>(f.levels.size()); ++h) {
        Facts raised = facts;
        raised.level[idx(f.id)] = static_cast<std::int8_t>(h);
        compare(floors, facts, raised, step, [&] {
          return fmt::format("{} gives a better grade than {}, next to: {}", shown(f.id, h),
                             shown(f.id, l), shown(facts));
        });
      }
    });
  }
  return step;
}

Step floors_unknown(const Space& space, const BestLevels& best) {
  Step step;
  for (const FindingSpec& f : findings()) {
    const bool liquid = f.id == Finding::port_fluid;
    Floors floors(space.knowledge, 1U << idx(f.id), liquid ? 1U << idx(Situation::port_check) : 0);
    floors.mentions.findings |= needed_by(f);
    const Contexts contexts(floors.mentions.findings & ~(1U << idx(f.id)),
                            floors.mentions.situations);
    if (!fits(contexts, f.name, step)) {
      continue;
    }
    contexts.each(nothing_known(), [&](const Facts& facts) {
      if (!exists(f.id, facts.level)) {
        return;
      }
      Facts open = facts;
      if (liquid) {  // without it there was no check
        open.situation[idx(Situation::port_check)] = static_cast<std::uint8_t>(PortCheck::not_made);
        if (facts.situation[idx(Situation::port_check)] == idx(PortCheck::not_made)) {
          return;
        }
      } else if (!consistent(facts, floors.mentions)) {
        return;
      }
      if (f.ordered) {
        Facts known = facts;
        known.level[idx(f.id)] = 0;
        compare(floors, known, open, step, [&] {
          return fmt::format("not to observe {} gives a better grade than {}, next to: {}", f.name,
                             shown(f.id, 0), shown(facts));
        });
        return;
      }
      // At least one of the levels that never raise the risk is graded no worse.
      Step least;
      bool one = false;
      for (std::size_t l = 0; l < f.levels.size() && !one; ++l) {
        const std::uint8_t levels =
            space.model.carries_evidence(f.id) ? best[idx(f.id)] : std::uint8_t{0xFF};
        if ((levels >> l & 1U) == 0) {
          continue;
        }
        Step tried;
        Facts known = facts;
        known.level[idx(f.id)] = static_cast<std::int8_t>(l);
        compare(floors, known, open, tried, [] { return std::string("worse"); });
        one = tried.failures.empty();
        least.states += tried.states;
      }
      step.states += least.states;
      if (!one) {
        step.fail(
            fmt::format("not to observe {} gives a better grade than each of its values that "
                        "does not raise the risk, next to: {}",
                        f.name, shown(facts)));
      }
    });
  }
  return step;
}

Step floors_with_older_look(const Space& space) {
  Step step;
  Floors floors(space.knowledge, 0, 1U << idx(Situation::port_check));
  const Contexts contexts(floors.mentions.findings,
                          floors.mentions.situations & ~(1U << idx(Situation::port_check)));
  if (!fits(contexts, "the port check", step)) {
    return step;
  }
  contexts.each(nothing_known(), [&](const Facts& facts) {
    Facts fresh = facts;
    Facts stale = facts;
    fresh.situation[idx(Situation::port_check)] = static_cast<std::uint8_t>(PortCheck::fresh);
    stale.situation[idx(Situation::port_check)] = static_cast<std::uint8_t>(PortCheck::stale);
    compare(floors, fresh, stale, step, [&] {
      return fmt::format("a stale port check gives a better grade than a fresh one, next to: {}",
                         shown(facts));
    });
  });
  return step;
}

// ----------------------------------------------------------- completeness

Step sound_means_clean(const Space& space) {
  Step step;
  for (const Grade worst : kWorst) {
    for (const bool ungraded : {false, true}) {
      for (const bool sound : {false, true}) {
        for (const RiskBand band : kBands) {
          ++step.states;
          const Grade g = grade_on({worst, ungraded, sound, band});
          if (g == Grade::A && (worst != Grade::A || ungraded || !sound || band != RiskBand::low)) {
            step.fail("the last step of grading gives A without \"sound\"");
          }
          if (g <= Grade::B && ungraded) {
            step.fail("the last step of grading gives A or B where \"ungraded\" holds");
          }
        }
      }
    }
  }
  Floors none(space.knowledge, 0, 0);
  constexpr std::uint32_t kPort = 1U << idx(Finding::port_fluid) |
                                  1U << idx(Finding::port_residue) | 1U << idx(Finding::port_rust) |
                                  1U << idx(Finding::port_debris);
  const Contexts contexts(none.mentions.findings | kPort,
                          none.mentions.situations | 1U << idx(Situation::port_check));
  if (!fits(contexts, "\"sound\"", step)) {
    return step;
  }
  contexts.each(nothing_known(), [&](const Facts& facts) {
    ++step.states;
    const auto check = static_cast<PortCheck>(facts.situation[idx(Situation::port_check)]);
    for (const RiskBand band : kBands) {
      const Ground g = none.at(facts, band);
      if (g.sound && !made_dry_and_clean(facts.level, check)) {
        step.fail(fmt::format("\"sound\" holds with: {}", shown(facts)));
      }
      if (!g.ungraded && check != PortCheck::fresh) {
        step.fail(fmt::format("\"ungraded\" does not hold with: {}", shown(facts)));
      }
    }
  });
  return step;
}

namespace {

enum class Tri : std::uint8_t { no, maybe, yes };

// Facts of which only these are known, and the grades that may be given.
struct Partly {
  const Facts& facts;
  std::uint32_t findings = 0;
  std::uint32_t situations = 0;
  std::uint32_t grades = 0;
};

Tri holds_partly(const Condition& c, const Partly& p) {
  Tri all = Tri::yes;
  const auto within = [&](std::uint32_t possible, std::uint32_t wanted) {
    const Tri one =
        (possible & wanted) == 0 ? Tri::no : ((possible & ~wanted) == 0 ? Tri::yes : Tri::maybe);
    all = std::min(all, one);
  };
  within(p.grades, c.grades);
  for (const Condition::FindingIs& f : c.findings) {
    within(has(p.findings, f.finding)
               ? 1U << static_cast<unsigned>(p.facts.level[idx(f.finding)] + 1)
               : (2U << spec(f.finding).levels.size()) - 1U,
           f.levels);
  }
  for (const Condition::SituationIs& s : c.situations) {
    within(has(p.situations, s.situation) ? 1U << p.facts.situation[idx(s.situation)]
                                          : (1U << spec(s.situation).values.size()) - 1U,
           s.values);
  }
  if (!c.causes.empty()) {
    all = std::min(all, Tri::maybe);
  }
  const auto any_of = [&](const std::vector<Condition>& list) {
    Tri one = Tri::no;
    for (const Condition& inside : list) {
      one = std::max(one, holds_partly(inside, p));
    }
    return one;
  };
  for (const std::vector<Condition>& list : c.any) {
    all = std::min(all, any_of(list));
  }
  const Tri none = any_of(c.none);
  return none == Tri::maybe ? std::min(all, Tri::maybe) : (none == Tri::yes ? Tri::no : all);
}

constexpr std::uint32_t kBeforeGrade = 1U << idx(Grade::A);

// The grades that what is known leaves open, as bits.
std::uint32_t grades_left(const Knowledge& k, Partly p) {
  p.grades = kBeforeGrade;
  Grade least = Grade::A;
  std::uint32_t floors = 0;
  for (const Floor& f : k.floors) {
    const Tri one = holds_partly(f.when, p);
    least = one == Tri::yes ? std::max(least, f.grade) : least;
    floors |= one == Tri::maybe ? 1U << idx(f.grade) : 0U;
  }
  const auto may_be = [](Tri one, bool value) { return one != (value ? Tri::no : Tri::yes); };
  const Tri is_ungraded = holds_partly(k.settings.ungraded, p);
  const Tri is_sound = holds_partly(k.settings.sound, p);
  std::uint32_t left = 0;
  for (const Grade worst : kWorst) {
    if (worst != least && (worst < least || !has(floors, worst))) {
      continue;
    }
    for (const bool ungraded : {false, true}) {
      for (const bool sound : {false, true}) {
        for (const RiskBand band : kBands) {
          if (may_be(is_ungraded, ungraded) && may_be(is_sound, sound)) {
            left |= 1U << idx(grade_on({worst, ungraded, sound, band}));
          }
        }
      }
    }
  }
  return left;
}

}  // namespace

bool holds_nowhere(const Knowledge& k, const Condition& when,
                   const std::vector<const Condition*>& rivals, bool before_grade,
                   std::uint64_t& states) {
  constexpr double kMost = 4'000'000;
  Mentions m = mentions_of(when);
  for (const FindingSpec& f : findings()) {
    m.findings |= m.has(f.id) ? needed_by(f) : 0;
  }
  // What can be seen at the port depends on whether it was looked at, and on the bypass.
  if (m.has(Finding::earlier_coolant)) {
    m.situations |= 1U << idx(Situation::rotor_cooling);
  }
  if (m.has(Finding::port_fluid) || m.has(Finding::earlier_coolant) ||
      m.has(Situation::port_check)) {
    m.findings |= 1U << idx(Finding::port_fluid);
    m.situations |= 1U << idx(Situation::port_check);
  }
  m.situations &= ~(1U << idx(Situation::risk));
  const Contexts contexts(m.findings, m.situations);
  if (contexts.size() > kMost) {
    return false;
  }
  bool somewhere = false;
  contexts.each(nothing_known(), [&](const Facts& facts) {
    Draft d;
    d.level = facts.level;
    d.look.check = static_cast<PortCheck>(facts.situation[idx(Situation::port_check)]);
    d.unit.cooling = static_cast<Cooling>(facts.situation[idx(Situation::rotor_cooling)]);
    if (somewhere || !Space::possible(d)) {
      return;
    }
    ++states;
    Partly p{facts, m.findings, m.situations,
             before_grade ? kBeforeGrade : (1U << kGradeCount) - 1U};
    if (holds_partly(when, p) == Tri::no) {
      return;
    }
    if (!before_grade) {
      p.grades = grades_left(k, p);
    }
    somewhere = holds_partly(when, p) != Tri::no &&
                std::ranges::none_of(rivals, [&](const Condition* rival) {
                  return holds_partly(*rival, p) == Tri::yes;
                });
  });
  return !somewhere;
}

Step always_an_action(const Space& space) {
  Step step;
  const Knowledge& k = space.knowledge;
  // Advice that asks for nothing but grade and situation.
  std::vector<const Advice*> plain;
  Floors none(k, 0, 0);
  std::uint32_t asked = none.mentions.situations;
  for (const Advice& a : k.advice) {
    const Mentions m = mentions_of(a.when);
    if (m.findings == 0 && !m.causes) {
      plain.push_back(&a);
      asked |= m.situations;
    }
  }
  const Contexts situations_only(0, asked);
  const Contexts grounds(none.mentions.findings, 0);
  if (!fits(situations_only, "advice", step) || !fits(grounds, "\"ungraded\"", step)) {
    return step;
  }
  situations_only.each(nothing_known(), [&](const Facts& situation) {
    for (const RiskBand band : kBands) {
      // Grades that some findings and floors can give in this situation.
      std::uint32_t reached = 0;
      grounds.each(situation, [&](const Facts& facts) {
        if (!consistent(facts, none.mentions)) {
          return;
        }
        const Ground g = none.at(facts, band);
        for (const Grade others : kWorst) {
          reached |= 1U << idx(grade_of(g, others, band));
        }
      });
      for (std::size_t g = 0; g < kGradeCount; ++g) {
        if ((reached >> g & 1U) == 0) {
          continue;
        }
        ++step.states;
        Facts facts = situation;
        facts.situation[idx(Situation::risk)] = static_cast<std::uint8_t>(band);
        facts.grade = static_cast<Grade>(g);
        if (std::ranges::none_of(plain, [&](const Advice* a) { return holds(a->when, facts); })) {
          step.fail(fmt::format(
              "no advice holds for each unit of grade {} with the port check {}", name(facts.grade),
              spec(Situation::port_check).values[facts.situation[idx(Situation::port_check)]].id));
        }
      }
    }
  });
  return step;
}

}  // namespace dryshaft::proof
