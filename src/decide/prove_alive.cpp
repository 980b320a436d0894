#include "decide/prove_alive.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <set>

namespace dryshaft::proof {
namespace {

constexpr std::uint64_t kMostTries = 4'000'000;
constexpr double kLeastDecibans = 0.05;  // as reports leave out what is weaker

std::string kind_and_place(std::string_view kind, const Item& item) {
  return fmt::format("{} {}", kind, place(item));
}

// A state in which a condition holds and `wanted` says yes.
struct Search {
  std::optional<Draft> found;
  bool complete = true;
  std::uint64_t states = 0;
};
using Wanted = std::function<bool(const Verdict&, const Facts&)>;

class Finder {
 public:
  Finder(const Space& space, const Condition& when, const Wanted& wanted)
      : space_(space), when_(when), wanted_(wanted) {
    Mentions m = mentions_of(when);
    for (const FindingSpec& f : findings()) {
      m.findings |= m.has(f.id) ? needed_by(f.id) : 0;
    }
    for (const FindingSpec& f : findings()) {
      if (m.has(f.id)) {
        open_.push_back(f.id);
        unsigned levels = (2U << f.levels.size()) - 1U;
        for (const Condition::FindingIs& is : when.findings) {
          levels &= is.finding == f.id ? is.levels : ~0U;
        }
        allowed_[idx(f.id)] = levels;
      }
    }
  }

  Search run() {
    // Plain units first; one more finding only where that is not enough.
    for (const bool more : {false, true}) {
      for (const AsBuilt& unit : space_.configurations.described()) {
        for (const Look& look : space_.looks) {
          Draft d;
          d.unit = unit;
          d.look = look;
          if (!situations_fit(d)) {
            continue;
          }
          for (const Levels& base : space_.bases) {
            for (const double km : {space_.distances.front(), space_.distances.back(),
                                    space_.distances[space_.distances.size() / 2]}) {
              d.level = base;
              d.km = km;
              for (const Finding f : open_) {
                d.set(f, -1);
              }
              if (!more) {
                walk(0, d);
              } else {
                for (const FindingSpec& f : findings()) {
                  if (std::ranges::find(open_, f.id) != open_.end()) {
                    continue;
                  }
                  for (std::size_t l = 0; l < f.levels.size(); ++l) {
                    Draft with = d;
                    with.set(f.id, static_cast<int>(l));
                    walk(0, with);
                  }
                }
              }
              if (result_.found || !result_.complete) {
                return result_;
              }
            }
          }
        }
      }
    }
    return result_;
  }

 private:
  // Situations that the condition asks for at its top level.
  [[nodiscard]] bool situations_fit(const Draft& d) const {
    const Case c = space_.realize(d);
    return std::ranges::all_of(when_.situations, [&](const Condition::SituationIs& s) {
      return s.situation == Situation::risk || s.situation == Situation::configuration ||
             s.situation == Situation::rotor_cooling || s.situation == Situation::crossover ||
             s.situation == Situation::rotor_magnets || s.situation == Situation::by ||
             (s.values >> c.at(s.situation) & 1U) != 0;
    });
  }

  void walk(std::size_t i, Draft& d) {
    if (result_.found || !result_.complete) {
      return;
    }
    if (i == open_.size()) {
      leaf(d);
      return;
    }
    const FindingSpec& f = spec(open_[i]);
    for (int l = -1; l < (exists(f.id, d.level) ? static_cast<int>(f.levels.size()) : 0); ++l) {
      if ((allowed_[idx(f.id)] >> static_cast<unsigned>(l + 1) & 1U) != 0) {
        d.set(f.id, l);
        walk(i + 1, d);
      }
    }
    d.set(f.id, -1);
  }

  void leaf(const Draft& d) {
    if (!Space::possible(d)) {
      return;
    }
    Case c = space_.realize(d);
    const Posterior posterior = space_.model.infer(c);
    // What neither findings nor risk depend on is tried at every value.
    for (unsigned crossover = 0; crossover < spec(Situation::crossover).values.size();
         ++crossover) {
      for (const Family& family : space_.knowledge.families) {
        for (unsigned by = 0; by < spec(Situation::by).values.size(); ++by) {
          if (!asked(Situation::crossover) && crossover != 0) {
            continue;
          }
          if (!asked(Situation::by) && by != 0) {
            continue;
          }
          if (!asked(Situation::rotor_magnets) && &family != &space_.knowledge.families.front()) {
            continue;
          }
          if (asked(Situation::crossover)) {
            c.set(Situation::crossover, crossover);
          }
          if (asked(Situation::by)) {
            c.set(Situation::by, by);
          }
          if (asked(Situation::rotor_magnets)) {
            c.set(Situation::rotor_magnets, family.magnets);
          }
          if (++result_.states > kMostTries) {
            result_.complete = false;
            return;
          }
          const Verdict v = judge(space_.knowledge, space_.model, c, posterior);
          const Facts facts = facts_of(c, v);
          if (holds(when_, facts) && (!wanted_ || wanted_(v, facts))) {
            result_.found = d;
            return;
          }
        }
      }
    }
  }

  [[nodiscard]] bool asked(Situation s) const {
    return std::ranges::any_of(when_.situations,
                               [s](const Condition::SituationIs& is) { return is.situation == s; });
  }

  const Space& space_;
  const Condition& when_;
  const Wanted& wanted_;
  std::vector<Finding> open_;
  std::array<unsigned, kFindingCount> allowed_{};
  Search result_;
};

}  // namespace

Alive find_dead(const Space& space, const Spread& spread) {
  const Knowledge& k = space.knowledge;
  Alive alive;
  const auto dead = [&](std::string what, bool sure = true,
                        std::optional<Draft> seen = std::nullopt) {
    alive.dead.push_back({std::move(what), sure, seen});
  };

  // Conditions that have to hold somewhere, and what must be so where they do.
  struct Job {
    Condition when;
    Wanted wanted;
    std::string what;
    Search search;
  };
  std::vector<Job> jobs;
  for (std::size_t i = 0; i < k.floors.size(); ++i) {
    std::uint64_t rivals = 0;
    for (std::size_t j = 0; j < k.floors.size(); ++j) {
      rivals |= j != i && k.floors[j].grade >= k.floors[i].grade ? std::uint64_t{1} << j : 0;
    }
    jobs.push_back({k.floors[i].when,
                    [rivals](const Verdict& v, const Facts&) { return (v.floors & rivals) == 0; },
                    kind_and_place("floor", k.floors[i]) +
                        " never decides: where it holds, another floor "
                        "as bad does",
                    {}});
  }
  const std::size_t first_advice = jobs.size();
  for (const Advice& a : k.advice) {
    jobs.push_back({a.when, nullptr, kind_and_place("advice", a) + " never holds", {}});
  }
  const std::size_t first_check = jobs.size();
  for (const ActionRule& a : k.actions) {
    jobs.push_back({a.reveals.empty() ? Condition{} : a.check_when,
                    nullptr,
                    kind_and_place("action", a) + " is a check that may never be suggested",
                    {}});
  }
  for (const OutlookRule& o : k.outlooks) {
    jobs.push_back({o.when,
                    [&k, &o](const Verdict&, const Facts& facts) {
                      return std::ranges::none_of(k.outlooks, [&](const OutlookRule& other) {
                        return other.outlook > o.outlook && holds(other.when, facts);
                      });
                    },
                    kind_and_place("outlook", o) + " is never the one that counts",
                    {}});
  }
  for (const CautionRule& c : k.cautions) {
    jobs.push_back({c.when, nullptr, kind_and_place("caution", c) + " is never shown", {}});
  }
  for (std::size_t g = 0; g < kGradeCount; ++g) {
    Condition is;
    is.grades = static_cast<std::uint8_t>(1U << g);
    // Grades follow from floors and from what the verdict asks for.
    for (const FindingSpec& f : findings()) {
      if (f.at_port && f.ordered) {
        is.findings.push_back({f.id, 0xFF});
      }
    }
    jobs.push_back(
        {is, nullptr, fmt::format("grade {} is never given", name(static_cast<Grade>(g))), {}});
  }
  spread(jobs.size(), [&](std::size_t i) {
    jobs[i].search = Finder(space, jobs[i].when, jobs[i].wanted).run();
  });
  for (const Job& job : jobs) {
    alive.states += job.search.states;
    if (!job.search.found) {
      dead(job.what + (job.search.complete ? "" : fmt::format(" in {} states tried", kMostTries)),
           job.search.complete);
    }
  }

  // Actions, by advice that is alive or as a check; cautions, by such actions.
  std::set<std::string, std::less<>> used;
  for (std::size_t i = 0; i < k.advice.size(); ++i) {
    if (jobs[first_advice + i].search.found) {
      used.insert(k.advice[i].action);
      used.insert(k.advice[i].with.begin(), k.advice[i].with.end());
    }
  }
  for (std::size_t i = 0; i < k.actions.size(); ++i) {
    if (!k.actions[i].reveals.empty() && jobs[first_check + i].search.found) {
      used.insert(k.actions[i].id);
    }
  }
  std::set<std::string, std::less<>> needed;
  for (const ActionRule& a : k.actions) {
    ++alive.states;
    if (!used.contains(a.id)) {
      dead(kind_and_place("action", a) + " is neither advised nor a check");
      continue;
    }
    needed.insert(a.cautions.begin(), a.cautions.end());
    needed.insert(a.owner_cautions.begin(), a.owner_cautions.end());
  }
  for (const CautionRule& c : k.cautions) {
    ++alive.states;
    if (!c.always && !needed.contains(c.id)) {
      dead(kind_and_place("caution", c) + " is needed by no action");
    }
  }

  // A link by itself moves its cause, against the background alone.
  for (const Link& link : k.links) {
    double most = 0;
    std::size_t strongest = 0;
    for (std::size_t l = 0; l < spec(link.finding).levels.size(); ++l) {
      ++alive.states;
      const States& like = space.model.likelihood(link.finding, static_cast<int>(l));
      const double moved =
          std::abs(10 * std::log10(like[std::size_t{1} << idx(link.cause)] / like[0]));
      if (moved > most) {
        most = moved;
        strongest = l;
      }
    }
    if (most < kLeastDecibans) {
      Draft d;
      for (const FindingSpec& f : findings()) {
        if ((needed_by(link.finding) >> idx(f.id) & 1U) != 0) {
          d.set(f.id, 1);
        }
      }
      d.set(link.finding, static_cast<int>(strongest));
      if (link.finding != Finding::port_fluid && d.at(Finding::port_fluid) < 0 && strongest == 0 &&
          spec(link.finding).at_port) {
        d.set(Finding::port_fluid, 0);
      }
      d.look = d.at(Finding::port_fluid) >= 0 ? space.looks[1] : space.looks[0];
      dead(fmt::format("{} moves its cause by {:.2f} dB at most, which no report shows",
                       kind_and_place("link", link), most),
           true, d);
    }
  }
  for (const Background& b : k.backgrounds) {
    ++alive.states;
    if (std::ranges::none_of(k.links,
                             [&](const Link& link) { return link.finding == b.finding; })) {
      dead(kind_and_place("background", b) + " belongs to no link: the finding tells nothing");
    }
  }
  return alive;
}

}  // namespace dryshaft::proof
