// When to look again: the argument about dates.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "decide/dates.hpp"
#include "knowledge/condition_set.hpp"
#include "prove/argument.hpp"
#include "prove/contexts.hpp"
#include "vocabulary/levels.hpp"

namespace dryshaft::proof {
namespace {

constexpr double kRounding = 1e-12;

// The grades that look at the port again, or have the work done first.
constexpr Grade kInOrder[] = {Grade::A, Grade::B, Grade::C, Grade::D};

// No day and no distance: the work comes first.
bool later(const NextLook& one, const NextLook& than) {
  return one.km.value_or(0) > than.km.value_or(0) || one.days.value_or(0) > than.days.value_or(0);
}

std::string shown(const NextLook& look) {
  return look.km ? fmt::format("within {:g} km or {:g} days", *look.km, *look.days)
                 : std::string("once the work is done");
}

// Every distance that damage may be unlikely within.
template <typename Take>
void each_safe(const Knowledge& k, const Take& take) {
  double most = 0;
  for (const GradeRule& g : k.grades) {
    most = std::max(most, g.recheck_km.value_or(0));
  }
  for (double safe = 0; safe < most + kLookStepKm; safe += kLookStepKm) {
    take(safe);
  }
}

}  // namespace

Step intervals_in_order(const Space& space) {
  Step step;
  const Knowledge& k = space.knowledge;
  for (const Grade grade : kInOrder) {
    const GradeRule& rule = k.grades[idx(grade)];
    const NextLook longest{rule.recheck_km, rule.recheck_days};
    std::optional<NextLook> sooner;
    each_safe(k, [&](double safe) {
      const NextLook look = interval_of(k, grade, safe);
      ++step.states;
      if (later(look, longest)) {
        step.fail(fmt::format("grade {} is looked at again {}, beyond its longest interval",
                              name(grade), shown(look)));
      }
      if (sooner && later(*sooner, look)) {
        step.fail(fmt::format("grade {} waits less long where damage comes later, after {:g} km",
                              name(grade), safe));
      }
      sooner = look;
      for (const Grade worse : kInOrder) {
        ++step.states;
        const NextLook of_worse = interval_of(k, worse, safe);
        if (worse > grade && later(of_worse, look)) {
          step.fail(
              fmt::format("grade {} is looked at again {}, grade {} {}, where damage is "
                          "unlikely within {:g} km",
                          name(worse), shown(of_worse), name(grade), shown(look), safe));
        }
      }
    });
  }
  return step;
}

Step unharmed_seal_in_order(const Space& space) {
  Step step;
  const Life& life = space.model.life();
  for (std::size_t s = 0; s < kSealStates; ++s) {
    ++step.states;
    if (!(life.leaves(s) >= 0) || (s > 0 && life.harms(s) < life.harms(s - 1))) {
      step.fail(fmt::format("stage {} of the seal harms more slowly than the one before", s));
    }
  }
  // The same of what is compiled: a 2 by 2 part never turns over.
  constexpr double kOfTables = 1e-4;
  each_way(space, [&](const Clock& from, const Clock& to, double km) {
    std::array<Cores, kSealStates> ways{};
    for (std::size_t s = 0; s < kSealStates; ++s) {
      ways.at(s).at(core_of(s, 0, 0)) = 1;
      life.drive(ways.at(s), from, to);
    }
    const auto way = [&](std::size_t a, std::size_t b) { return ways.at(a)[core_of(b, 0, 0)]; };
    for (std::size_t a = 0; a < kSealStates; ++a) {
      for (std::size_t b = a + 1; b < kSealStates; ++b) {
        for (std::size_t c = 0; c < kSealStates; ++c) {
          for (std::size_t d = c + 1; d < kSealStates; ++d) {
            ++step.states;
            if (way(a, c) * way(b, d) < way(a, d) * way(b, c) - kOfTables) {
              step.fail(
                  fmt::format("within {:g} km stages {} and {} of an unharmed seal turn "
                              "over to {} and {}",
                              km, a, b, c, d));
            }
          }
        }
      }
    }
  });
  return step;
}

Step unharmed_looks_apart(const Space& space) {
  Step step;
  constexpr std::size_t kLeak = std::size_t{1} << idx(Cause::seal_leak);
  for (const FindingSpec& f : findings()) {
    if (!space.model.carries_evidence(f.id)) {
      continue;
    }
    const auto chance = [&](std::size_t level, std::size_t state) {
      return space.model.likelihood(f.id, static_cast<int>(level))[state];
    };
    for (std::size_t l = 0; l < f.levels.size(); ++l) {
      for (std::size_t r = 0; r < kRests; ++r) {
        ++step.states;
        const std::size_t rest = causes_in(0, 0, 0, r);
        const double apart = chance(l, rest) * chance(l, kLeak);
        if (std::abs(chance(l, rest | kLeak) * chance(l, 0) - apart) > kRounding) {
          step.fail(fmt::format("{} joins a leak and what comes without one",
                                shown(f.id, static_cast<int>(l))));
        }
      }
      for (std::size_t h = l + 1; f.ordered && h < f.levels.size(); ++h) {
        ++step.states;
        if (falls(chance(l, kLeak) * chance(h, 0), chance(h, kLeak) * chance(l, 0))) {
          step.fail(fmt::format("{} speaks less for a leak than {} does",
                                shown(f.id, static_cast<int>(h)),
                                shown(f.id, static_cast<int>(l))));
        }
      }
    }
  }
  return step;
}

Step looks_asked_in_order(const Space& space) {
  Step step;
  const Knowledge& k = space.knowledge;
  const std::string& again = k.action(ActionRole::look_again).id;
  Mentions all;
  for (const Advice& a : k.advice) {
    if (a.action == again && a.within_km && a.within_days) {
      all.add(a.when);
    }
  }
  if (all.causes || all.has(Situation::risk)) {
    step.fail(fmt::format("advice to \"{}\" asks for a probability", again));
  }
  for (const FindingSpec& f : findings()) {
    if (!f.ordered || !all.has(f.id)) {
      continue;  // it moves the grade and the process alone
    }
    const Contexts contexts(all.findings, all.situations);
    if (!fits(contexts, again, step)) {
      return step;
    }
    contexts.each(nothing_known(), [&](const Facts& facts) {
      const std::int8_t l = facts.level[idx(f.id)];
      if (l < 0 || !consistent(facts, all)) {
        return;
      }
      for (int h = l + 1; h < static_cast<int>(f.levels.size()); ++h) {
        for (const Grade grade : kInOrder) {
          for (const Grade worse : kInOrder) {
            if (worse < grade) {
              continue;
            }
            each_safe(k, [&](double safe) {
              ++step.states;
              Facts before = facts;
              before.grade = grade;
              Facts after = facts;
              after.grade = worse;
              after.level[idx(f.id)] = static_cast<std::int8_t>(h);
              const NextLook one = next_look(k, before, safe);
              const NextLook other = next_look(k, after, safe);
              if (later(other, one)) {
                step.fail(fmt::format(
                    "with {} a unit of grade {} is looked at again {}, with {} in grade {} {}",
                    shown(f.id, h), name(worse), shown(other), shown(f.id, l), name(grade),
                    shown(one)));
              }
            });
          }
        }
      }
    });
  }
  return step;
}

namespace {

// What an older look tells of an unharmed seal, by stage.
struct Ageing {
  std::array<double, kSealStates> leaves{};  // to the next stage
  std::array<double, kSealStates> harms{};
  std::array<double, kSealStates> safe{};  // unharmed until then
  std::array<double, kSealStates> like{};  // the look

  // Of the change of what is safe, as the look grows younger, that of two stages together.
  [[nodiscard]] double part(std::size_t s, std::size_t t) const {
    const auto moves = [&](std::size_t one, std::size_t other) {
      return one + 1 == kSealStates ? 0
                                    : leaves.at(one) * (like.at(one) - like.at(one + 1)) *
                                          like.at(other) * (safe.at(other) - safe.at(one + 1));
    };
    return moves(s, t) + moves(t, s) +
           like.at(s) * like.at(t) * (safe.at(t) * harms.at(s) + safe.at(s) * harms.at(t));
  }
};

// The greatest pace of wear-out, a working km.
double fastest_wear(const Space& space, double km_so_far, double years_so_far) {
  const Life& life = space.model.life();
  constexpr double kStepKm = 1000;
  const double per_year = space.knowledge.settings.km_per_year;
  double fastest = 0;
  for (double km = 0; km < km_so_far; km += kStepKm) {
    const double years = years_so_far * km / km_so_far;
    const double more = kStepKm / per_year;
    fastest = std::max(
        fastest, (life.wear_hazard(km + kStepKm, years + more) - life.wear_hazard(km, years)) /
                     life.working_km(kStepKm, more));
  }
  return fastest;
}

}  // namespace

Step older_look_no_later(const Space& space) {
  Step step;
  const Life& life = space.model.life();
  const Knowledge& k = space.knowledge;
  Ageing ageing;
  for (std::size_t s = 0; s < kSealStates; ++s) {
    ageing.leaves.at(s) = life.leaves(s);
    ageing.harms.at(s) = life.harms(s);
  }
  const double fastest = fastest_wear(space, kOldestKm, kOldestYears);
  each_safe(k, [&](double km) {
    for (std::size_t s = 1; s < kSealStates; ++s) {
      Cores cores{};
      cores.at(core_of(s, 0, 0)) = 1;
      const Clock from;
      life.drive(cores, from, from.later(km, km / k.settings.km_per_year));
      ageing.safe.at(s) = 0;
      for (std::size_t then = s; then < kSealStates; ++then) {
        ageing.safe.at(s) += cores.at(core_of(then, 0, 0));
      }
    }
    ageing.safe[0] = ageing.safe[1];  // a sound seal is safer still, which only helps
    for (const double wear : {0.0, fastest}) {
      ageing.leaves[0] = wear;
      for (std::size_t s = 0; s < kSealStates; ++s) {
        for (std::size_t t = s; t < kSealStates; ++t) {
          // By how likely the look is where coolant has reached the tip, as a share of how likely
          // it is where none has: a square, so that three of its values bound all.
          std::array<double, 3> at{};
          for (std::size_t i = 0; i < at.size(); ++i) {
            for (std::size_t stage = 0; stage < kSealStates; ++stage) {
              ageing.like.at(stage) =
                  1 - space.model.reaches(stage) * (1 - static_cast<double>(i) / 2);
            }
            at.at(i) = ageing.part(s, t);
          }
          ++step.states;
          const double between = 2 * at[1] - (at[0] + at[2]) / 2;
          if (std::min({at[0], at[2], between}) < 0) {
            step.fail(
                fmt::format("of units in stages {} and {} of the seal, an older look that "
                            "saw no leak leaves more unharmed after {:g} km",
                            s, t, km));
          }
        }
      }
    }
  });
  return step;
}

}  // namespace dryshaft::proof
