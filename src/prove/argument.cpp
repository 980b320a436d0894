#include "prove/argument.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>

#include "decide/grading.hpp"
#include "prove/sweep.hpp"

namespace dryshaft::proof {
namespace {

constexpr bool has(std::uint32_t mask, auto e) { return (mask >> idx(e) & 1U) != 0; }

std::string shown(Finding f, int level) {
  return level < 0
             ? fmt::format("{} not observed", name(f))
             : fmt::format("{} {}", name(f), spec(f).levels[static_cast<std::size_t>(level)].id);
}

std::string shown_causes(std::size_t state) {
  std::string text;
  for (const CauseSpec& c : causes()) {
    if (has(static_cast<std::uint32_t>(state), c.id)) {
      text += fmt::format("{}{}", text.empty() ? "" : " + ", c.name);
    }
  }
  return text.empty() ? "no cause" : text;
}

bool in_wear(const FindingSpec& f) { return f.at_port && f.ordered; }

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
  constexpr std::uint32_t kFromFindings = 1U << idx(Situation::port_check) |
                                          1U << idx(Situation::risk) |
                                          1U << idx(Situation::configuration);
  for (const CauseRule& c : k.causes) {
    for (std::size_t p = 0; p < kCauseCount; ++p) {
      ++s.states;
      if (c.given.at(p) > 0 && (has(s.damaging, p) != has(s.damaging, c.cause))) {
        s.obstacles.push_back(fmt::format(
            "{} is given {}, and only one of them is damaging: the two groups of causes are not "
            "independent",
            place(c), causes()[p].name));
      }
    }
    ++s.states;
    if (c.wear && !has(s.damaging, c.cause)) {
      s.obstacles.push_back(fmt::format(
          "{} wears out and is not damaging: distance may explain a finding away", place(c)));
    }
    if (c.by && (kFromFindings >> idx(*c.by) & 1U) != 0) {
      s.obstacles.push_back(fmt::format("the prior of {} depends on {}, which findings bring about",
                                        place(c), spec(*c.by).name));
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

Step pure_rises(const Space& space, const Structure& structure) {
  Step step;
  for (const FindingSpec& f : findings()) {
    if (!has(structure.pure, f.id)) {
      continue;
    }
    const auto like = [&](std::size_t l, std::size_t s) {
      return space.model.likelihood(f.id, static_cast<int>(l))[s];
    };
    for (std::size_t s = 0; s < kStateCount; ++s) {
      for (std::size_t l = 0; l < f.levels.size(); ++l) {
        ++step.states;
        if (like(l, s) != like(l, s & structure.damaging)) {
          step.fail(fmt::format("{} depends on a cause that is not damaging in state {}",
                                shown(f.id, static_cast<int>(l)), shown_causes(s)));
        }
        for (std::size_t h = l + 1; f.ordered && h < f.levels.size(); ++h) {
          ++step.states;
          if (falls(like(l, s) * like(h, 0), like(h, s) * like(l, 0))) {
            step.fail(fmt::format("{} speaks less for {} than {} does",
                                  shown(f.id, static_cast<int>(h)), shown_causes(s),
                                  shown(f.id, static_cast<int>(l))));
          }
          // A harmless level that has lost all its weight, against this one.
          if (l == 0 && in_wear(f)) {
            ++step.states;
            if (falls(like(h, 0), like(h, s))) {
              step.fail(fmt::format("{} speaks against {} and a decayed {} does not",
                                    shown(f.id, static_cast<int>(h)), shown_causes(s),
                                    shown(f.id, 0)));
            }
          }
        }
      }
    }
  }
  return step;
}

Step pure_unknown(const Space& space, const Structure& structure, BestLevels& best) {
  Step step;
  for (const FindingSpec& f : findings()) {
    if (!has(structure.pure, f.id)) {
      continue;
    }
    std::uint8_t good = 0;
    for (std::size_t l = 0; l < f.levels.size(); ++l) {
      const States& like = space.model.likelihood(f.id, static_cast<int>(l));
      bool all = true;
      for (std::size_t s = 0; s < kStateCount; ++s) {
        ++step.states;
        all = all && !falls(like[s], like[0]);
      }
      good = static_cast<std::uint8_t>(good | (all ? 1U << l : 0U));
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
// others, with the chance of that given the damaging causes.
class Beside {
 public:
  Beside(const Space& space, const Structure& structure, const FindingSpec& f,
         std::uint32_t members)
      : space_(space), f_(f), bound_(needed_by(f) != 0) {
    for (const FindingSpec& other : findings()) {
      bound_ = bound_ || has(needed_by(other), f.id);
      if (has(members, other.id) && other.id != f.id) {
        others_.push_back(other.id);
        contexts_ *= static_cast<double>(other.levels.size()) + 1;
      }
      in_wear_ += has(members, other.id) && in_wear(other) ? 1U : 0U;
    }
    for (std::size_t s = 0; s < kStateCount; ++s) {
      if ((s & structure.damaging) == 0) {
        rest_.push_back(s);
      }
    }
    // States of damage that these findings tell apart; no damage comes first.
    for (std::size_t d = 0; d < kStateCount; ++d) {
      if ((d & ~structure.damaging) == 0 &&
          std::ranges::none_of(damage_, [&](std::size_t known) { return alike(d, known); })) {
        damage_.push_back(d);
      }
    }
  }

  [[nodiscard]] double contexts() const { return contexts_; }
  [[nodiscard]] unsigned in_wear_count() const { return in_wear_; }
  [[nodiscard]] std::size_t damage_count() const { return damage_.size(); }
  [[nodiscard]] std::size_t damage(std::size_t d) const { return damage_[d]; }

  // Chances of the levels of the finding, not observed first, next to `others`.
  struct At {
    Levels others{};
    std::array<bool, kMaxLevels + 1> exists{};
    // chance[w][1 + level][d], for the wear weights that were asked for
    std::array<std::array<std::array<double, kStateCount>, kMaxLevels + 1>, 3> chance{};
  };

  // `weights`: what harmless news from the port still weighs, at most three.
  template <typename Visit>
  void each(const Case& unit, const std::vector<double>& weights, const Visit& visit) {
    weights_ = weights;
    const States prior = space_.model.prior(unit);
    products_.assign(others_.size() + 1, {});
    std::vector<double>& start = products_.front();
    for (std::size_t w = 0; w < weights_.size(); ++w) {
      for (std::size_t d = 0; d < damage_.size(); ++d) {
        for (const std::size_t n : rest_) {
          double sum = 0;  // the prior of the part that is not damaging
          for (std::size_t s = 0; s < kStateCount; ++s) {
            sum += (s & rest_.back()) == n ? prior[s] : 0;
          }
          start.push_back(sum);
        }
      }
    }
    factors_.clear();
    for (const Finding other : others_) {
      factors_.push_back(factors_of(spec(other)));
    }
    own_ = factors_of(f_);
    Levels levels = nothing_observed();
    levels[idx(f_.id)] = 1;  // whatever describes it may be observed on the way
    walk(0, levels, visit);
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
  using Factors = std::vector<std::vector<double>>;  // by level; by weight, damage, rest

  [[nodiscard]] bool alike(std::size_t d, std::size_t known) const {
    const auto same = [&](Finding f) {
      for (std::size_t l = 0; l < spec(f).levels.size(); ++l) {
        const States& like = space_.model.likelihood(f, static_cast<int>(l));
        if (!std::ranges::all_of(rest_,
                                 [&](std::size_t n) { return like[d | n] == like[known | n]; })) {
          return false;
        }
      }
      return true;
    };
    return same(f_.id) && std::ranges::all_of(others_, same);
  }

  [[nodiscard]] Factors factors_of(const FindingSpec& f) const {
    Factors by_level;
    for (std::size_t l = 0; l < f.levels.size(); ++l) {
      const States& like = space_.model.likelihood(f.id, static_cast<int>(l));
      std::vector<double>& factors = by_level.emplace_back();
      for (const double w : weights_) {
        for (const std::size_t d : damage_) {
          for (const std::size_t n : rest_) {
            factors.push_back(l == 0 && in_wear(f) ? 1 - w * (1 - like[d | n]) : like[d | n]);
          }
        }
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
        const std::vector<double>& factors = factors_[depth][static_cast<std::size_t>(l)];
        for (std::size_t i = 0; i < factors.size(); ++i) {
          products_[depth + 1][i] *= factors[i];
        }
      }
      walk(depth + 1, levels, visit);
    }
    levels[idx(f)] = -1;
  }

  template <typename Visit>
  void leaf(const Levels& levels, const Visit& visit) {
    At& at = at_;
    at.others = levels;
    Levels& others = at.others;
    for (std::size_t place = 0; place <= f_.levels.size(); ++place) {
      const int l = static_cast<int>(place) - 1;  // not observed stands first
      others[idx(f_.id)] = static_cast<std::int8_t>(l);
      at.exists[place] = !bound_ || all_exist(others);
      if (!at.exists[place]) {
        continue;
      }
      const double* product = products_.back().data();
      const double* factor = place == 0 ? nullptr : own_[place - 1].data();
      for (std::size_t w = 0; w < weights_.size(); ++w) {
        for (std::size_t d = 0; d < damage_.size(); ++d) {
          double sum = 0;
          for (std::size_t n = 0; n < rest_.size(); ++n) {
            sum += *product++ * (factor == nullptr ? 1 : *factor++);
          }
          at.chance[w][place][d] = sum;
        }
      }
    }
    others[idx(f_.id)] = -1;
    visit(at);
  }

  static bool all_exist(const Levels& levels) {
    Levels left = levels;
    drop_what_does_not_exist(left);
    return left == levels;
  }

  const Space& space_;
  const FindingSpec& f_;
  bool bound_;  // needs another finding, or is needed by one
  std::vector<Finding> others_;
  std::vector<std::size_t> damage_;
  std::vector<std::size_t> rest_;  // states of the causes that are not damaging
  std::vector<double> weights_;
  std::vector<std::vector<double>> products_;  // of the first few others; by weight, damage, rest
  std::vector<Factors> factors_;
  Factors own_;
  At at_;  // large, so made once
  double contexts_ = 1;
  unsigned in_wear_ = 0;
};

// A unit for each prior of the causes that are not damaging: every value of the
// situations on which it depends, the rotor's magnets as the families have them.
std::vector<Case> units_of(const Space& space, const Structure& structure) {
  std::vector<Case> units;
  std::vector<States> seen;
  for (const AsBuilt& unit : space.configurations.all) {
    Draft d;
    d.unit = unit;
    const Case c = space.realize(d);
    const States prior = space.model.prior(c);
    States other{};
    for (std::size_t s = 0; s < kStateCount; ++s) {
      other[s & ~structure.damaging] += prior[s];
    }
    const bool is_new = std::ranges::none_of(seen, [&](const States& known) {
      for (std::size_t s = 0; s < kStateCount; ++s) {
        if (std::abs(known[s] - other[s]) > kSlack * other[s]) {
          return false;
        }
      }
      return true;
    });
    if (is_new) {
      seen.push_back(other);
      units.push_back(c);
    }
  }
  return units;
}

constexpr double kMostBeside = 50'000'000;

bool too_large(const Beside& beside, Step& step) {
  if (beside.contexts() > kMostBeside) {
    step.fail(
        fmt::format("the findings that bear on causes that are not damaging have {:.3g} joint "
                    "levels, too many to enumerate",
                    beside.contexts()));
    return true;
  }
  if (beside.in_wear_count() > 1) {
    step.fail("more than one finding at the port bears on causes that are not damaging");
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
  // Harmless news from the port enters linearly in its weight, a comparison of
  // two states therefore as a polynomial of degree 2 at most: nowhere negative
  // if its three Bernstein coefficients are not.
  const std::vector<double> weights =
      beside.in_wear_count() == 0 ? std::vector<double>{1} : std::vector<double>{0, 0.5, 1};
  const std::size_t count = f.levels.size();
  const auto compare = [&](const Beside::At& at, std::size_t l, std::size_t h, std::size_t d) {
    ++step.states;
    std::array<double, 3> gain{};
    double scale = 0;
    for (std::size_t w = 0; w < weights.size(); ++w) {
      const auto& low = at.chance.at(w).at(l + 1);
      const auto& high = at.chance.at(w).at(h + 1);
      gain.at(w) = high.at(d) * low[0] - low.at(d) * high[0];
      scale = std::max(scale, low.at(d) * high[0]);
    }
    if (weights.size() == 3) {
      gain[1] = 2 * gain[1] - (gain[0] + gain[2]) / 2;
    } else {
      gain[1] = gain[2] = gain[0];
    }
    if (*std::min_element(gain.begin(), gain.end()) < -kSlack * scale) {
      step.fail(fmt::format("{} speaks less for {} than {} does, next to: {}",
                            shown(f.id, static_cast<int>(h)), shown_causes(beside.damage(d)),
                            shown(f.id, static_cast<int>(l)), Beside::shown(at.others)));
    }
  };
  for (const Case& unit : units_of(space, structure)) {
    if (step.failed_enough()) {
      return;
    }
    beside.each(unit, weights, [&](const Beside::At& at) {
      for (std::size_t d = 1; d < beside.damage_count() && !step.failed_enough(); ++d) {
        for (std::size_t l = 0; l < count; ++l) {
          for (std::size_t h = l + 1; h < count; ++h) {
            if (at.exists.at(l + 1) && at.exists.at(h + 1)) {
              compare(at, l, h, d);
            }
          }
        }
        // Harmless news that has lost all its weight.
        if (at.exists[1] && in_wear(f)) {
          ++step.states;
          const auto& old = at.chance.front()[1];
          const auto& today = at.chance.at(weights.size() - 1)[1];
          if (falls(today.at(d) * old[0], old.at(d) * today[0])) {
            step.fail(fmt::format("{} speaks less for {} as it grows old, next to: {}",
                                  shown(f.id, 0), shown_causes(beside.damage(d)),
                                  Beside::shown(at.others)));
          }
        }
      }
    });
  }
}

// Some level of a finding is no more likely with damage, next to all others.
void unknown_beside(const Space& space, const Structure& structure, const FindingSpec& f,
                    bool graded, BestLevels& best, Step& step) {
  // What is not observed is not described.
  Beside beside(space, structure, f, members_beside(structure, f, graded, true));
  if (too_large(beside, step)) {
    return;
  }
  const bool explains = has(structure.explaining, f.id);
  for (const Case& unit : units_of(space, structure)) {
    if (step.failed_enough()) {
      return;
    }
    beside.each(unit, {1}, [&](const Beside::At& at) {
      if (!at.exists[0] || !at.exists[1] || step.failed_enough()) {
        return;
      }
      const auto& open = at.chance.front()[0];
      std::uint8_t good = 0;  // levels that no state of damage makes likelier
      for (std::size_t l = 0; l < f.levels.size(); ++l) {
        const auto& known = at.chance.front().at(l + 1);
        bool all = true;
        for (std::size_t d = 1; d < beside.damage_count(); ++d) {
          ++step.states;
          all = all && !falls(known.at(d) * open[0], open.at(d) * known[0]);
        }
        good = static_cast<std::uint8_t>(good | (all ? 1U << l : 0U));
      }
      std::uint8_t& kept = best[idx(f.id)];
      bool enough = good != 0;
      if (!explains) {  // the grade goes by it: one level for all
        kept = static_cast<std::uint8_t>(kept & good);
        enough = f.ordered ? (good & 1U) != 0 : kept != 0;
      }
      if (!enough) {
        step.fail(fmt::format("not to observe {} can give a lower risk than {}, next to: {}",
                              f.name, f.ordered ? shown(f.id, 0) : "each of its values",
                              Beside::shown(at.others)));
      }
    });
  }
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
    } else if (in_wear(f)) {
      unknown_beside(space, structure, f, false, best, step);
    }  // else by the mean: its levels share out what is known without it
  }
  return step;
}

// ------------------------------------------------------- distance and age

Step wear_rises(const Space& space) {
  Step step;
  for (const CauseRule& c : space.knowledge.causes) {
    if (c.wear && !(c.wear->shape > 0 && c.wear->scale_km > 0 && c.wear->scale_years > 0)) {
      step.fail(fmt::format("{} has a wear-out that does not rise", place(c)));
    }
  }
  // Numerically, distance and age each on its own.
  std::vector<double> years = {0, 0.5, 1, 2, 5, 10, 15, 20, 30, 50};
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
        const double risk = space.model.infer(c).risk;
        if (falls(younger, risk) || falls(before[y], risk)) {
          step.fail(
              fmt::format("the risk of an uninspected unit falls on the way to {:.0f} km and "
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

// ------------------------------------------------------- floors and grade

namespace {

constexpr std::uint64_t kMostContexts = 300'000'000;
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

// Calls `visit(facts)` for every joint value of these findings and situations
// that is possible; the rest is not observed and not known.
class Contexts {
 public:
  Contexts(std::uint32_t findings_mask, std::uint32_t situations_mask) {
    for (const FindingSpec& f : findings()) {
      findings_mask |= has(findings_mask, f.id) ? needed_by(f) : 0;
    }
    for (const FindingSpec& f : findings()) {  // leaders stand before their details
      if (has(findings_mask, f.id)) {
        findings_.push_back(f.id);
      }
    }
    for (const SituationSpec& s : situations()) {
      if (has(situations_mask, s.id) && s.id != Situation::risk) {
        situations_.push_back(s.id);
      }
    }
  }

  [[nodiscard]] double size() const {
    double n = 1;
    for (const Finding f : findings_) {
      n *= static_cast<double>(spec(f).levels.size()) + 1;
    }
    for (const Situation s : situations_) {
      n *= static_cast<double>(spec(s).values.size());
    }
    return n;
  }

  template <typename Visit>
  void each(Facts facts, const Visit& visit) const {
    walk_situations(0, facts, visit);
  }

 private:
  template <typename Visit>
  void walk_situations(std::size_t i, Facts& facts, const Visit& visit) const {
    if (i == situations_.size()) {
      walk_findings(0, facts, visit);
      return;
    }
    const std::size_t s = idx(situations_[i]);
    const std::uint8_t kept = facts.situation[s];
    for (std::size_t v = 0; v < spec(situations_[i]).values.size(); ++v) {
      facts.situation[s] = static_cast<std::uint8_t>(v);
      walk_situations(i + 1, facts, visit);
    }
    facts.situation[s] = kept;
  }
  template <typename Visit>
  void walk_findings(std::size_t i, Facts& facts, const Visit& visit) const {
    if (i == findings_.size()) {
      visit(facts);
      return;
    }
    const FindingSpec& f = spec(findings_[i]);
    const std::int8_t kept = facts.level[idx(f.id)];
    const int levels = exists(f.id, facts.level) ? static_cast<int>(f.levels.size()) : 0;
    for (int l = -1; l < levels; ++l) {
      facts.level[idx(f.id)] = static_cast<std::int8_t>(l);
      walk_findings(i + 1, facts, visit);
    }
    facts.level[idx(f.id)] = kept;
  }

  std::vector<Finding> findings_;
  std::vector<Situation> situations_;
};

Facts nothing_known() {
  const Case c = empty_case();
  return {.level = c.level, .situation = c.situation, .probability = {}, .grade = Grade::A};
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

bool fits(const Contexts& contexts, std::string_view of, Step& step) {
  if (contexts.size() > static_cast<double>(kMostContexts)) {
    step.fail(
        fmt::format("the floors that speak of {} depend on {:.3g} states, too many to "
                    "enumerate",
                    of, contexts.size()));
    return false;
  }
  return true;
}

// A liquid seen and when it was looked for belong together.
bool consistent(const Facts& facts, const Mentions& mentions) {
  const std::int8_t fluid = facts.level[idx(Finding::port_fluid)];
  const bool made = facts.situation[idx(Situation::port_check)] != idx(PortCheck::not_made);
  return !mentions.has(Finding::port_fluid) || !mentions.has(Situation::port_check) ||
         (made ? fluid >= 0 : fluid != 0);
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
