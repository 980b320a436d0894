#include "prove/alive.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "prove/argument.hpp"

namespace dryshaft::proof {
namespace {

constexpr std::uint64_t kMostTries = 4'000'000;
constexpr double kLeastDecibans = 0.05;  // as reports leave out what is weaker

std::string kind_and_place(std::string_view kind, const Item& item) {
  return fmt::format("{} {}", kind, place(item));
}

// A condition that has to hold somewhere with none of its rivals.
struct Job {
  Condition when;
  std::vector<const Condition*> rivals;
  bool before_grade = false;  // asked with grade A, as floors are
  std::string what;

  bool found = false;
  bool nowhere = false;  // proven to hold in no state; else it was only not found
  std::uint64_t states = 0;
};

class Finder {
 public:
  Finder(const Space& space, const Configurations& configurations, Job& job)
      : space_(space), configurations_(configurations), job_(job), priors_(space.model) {
    Mentions m = mentions_of(job.when);
    for (const FindingSpec& f : findings()) {
      m.findings |= m.has(f.id) ? needed_by(f.id) : 0;
    }
    for (const FindingSpec& f : findings()) {
      if (m.has(f.id)) {
        open_.push_back(f.id);
        unsigned levels = (2U << f.levels.size()) - 1U;
        for (const Condition::FindingIs& is : job.when.findings) {
          levels &= is.finding == f.id ? is.levels : ~0U;
        }
        allowed_[idx(f.id)] = levels;
      }
    }
    std::uint64_t asked = asks(job.when);
    for (const Condition* rival : job.rivals) {
      asked |= asks(*rival);
    }
    by_distance_ =
        (asked & (AskBits::bit(Situation::risk) | AskBits::kGrade | AskBits::kCauses)) != 0;
  }

  // Plain units at three distances first; one more finding, and every distance
  // that can make a difference, only where that is not enough.
  void run() {
    for (const bool everywhere : {false, true}) {
      distances_ = {space_.distances.front()};
      if (everywhere) {
        distances_ = space_.distances;
      } else if (by_distance_) {
        distances_ = {space_.distances.front(), space_.distances.back(),
                      space_.distances[space_.distances.size() / 2]};
      }
      everywhere_ = everywhere;
      for (const bool more : {false, true}) {
        units(more);
      }
      if (!by_distance_) {
        break;
      }
    }
    if (!job_.found) {
      job_.nowhere =
          holds_nowhere(space_.knowledge, job_.when, job_.rivals, job_.before_grade, job_.states);
    }
  }

 private:
  [[nodiscard]] bool over() const { return job_.found || job_.states >= kMostTries; }

  void units(bool more) {
    for (const AsBuilt& unit : configurations_.described()) {
      for (const Look& look : space_.looks) {
        Draft d;
        d.unit = unit;
        d.look = look;
        if (!situations_fit(d)) {
          continue;
        }
        for (const Levels& base : space_.bases) {
          d.level = base;
          for (const Finding f : open_) {
            d.set(f, -1);
          }
          if (more) {
            with_one_more(d);
          } else {
            walk(0, d);
          }
          if (over()) {
            return;
          }
        }
      }
    }
  }

  // Situations that the condition asks for at its top level; findings may still
  // contradict the cooling.
  [[nodiscard]] bool situations_fit(const Draft& d) const {
    const Case c = space_.realize(d);
    return std::ranges::all_of(job_.when.situations, [&](const Condition::SituationIs& s) {
      return s.situation == Situation::risk || s.situation == Situation::configuration ||
             s.situation == Situation::rotor_cooling || (s.values >> c.at(s.situation) & 1U) != 0;
    });
  }

  void with_one_more(const Draft& d) {
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

  void walk(std::size_t i, Draft& d) {
    if (over()) {
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
    for (const double km : distances_) {
      try_at(d, km);
    }
    if (!everywhere_) {
      return;
    }
    const Settings& s = space_.knowledge.settings;
    for (const double limit : {s.risk_raised, s.risk_high}) {
      if (const auto around = space_.crossing(d, limit, priors_)) {
        try_at(d, around->first);
        try_at(d, around->second);
      }
    }
  }

  void try_at(Draft d, double km) {
    if (over()) {
      return;
    }
    ++job_.states;
    d.km = km;
    const Case c = space_.realize(d);
    Facts facts = facts_of(c, judge(space_.knowledge, space_.model, c, priors_.of(c)));
    if (job_.before_grade) {
      facts.grade = Grade::A;
    }
    job_.found = holds(job_.when, facts) &&
                 std::ranges::none_of(job_.rivals,
                                      [&](const Condition* rival) { return holds(*rival, facts); });
  }

  const Space& space_;
  const Configurations& configurations_;
  Job& job_;
  Priors priors_;
  std::vector<Finding> open_;
  std::array<unsigned, kFindingCount> allowed_{};
  bool by_distance_ = false;  // whether the risk makes a difference
  std::vector<double> distances_;
  bool everywhere_ = false;
};

}  // namespace

Alive find_dead(const Space& space, const Spread& spread) {
  const Knowledge& k = space.knowledge;
  Alive alive;
  const auto dead = [&](std::string what, bool sure = true,
                        std::optional<Draft> seen = std::nullopt) {
    alive.dead.push_back({std::move(what), sure, seen});
  };

  std::vector<Job> jobs;
  const auto add = [&](Condition when, std::string what) -> Job& {
    Job& job = jobs.emplace_back();
    job.when = std::move(when);
    job.what = std::move(what);
    return job;
  };
  for (const Floor& f : k.floors) {
    Job& job = add(f.when, kind_and_place("floor", f) +
                               " never decides: where it holds, another floor as bad does");
    job.before_grade = true;
    for (const Floor& other : k.floors) {
      if (&other != &f && other.grade >= f.grade) {
        job.rivals.push_back(&other.when);
      }
    }
  }
  const std::size_t first_advice = jobs.size();
  for (const Advice& a : k.advice) {
    add(a.when, kind_and_place("advice", a) + " never holds");
  }
  for (const ComebackRule& c : k.comebacks) {
    add(c.when, kind_and_place("comeback", c) + " is never named");
  }
  const std::size_t first_check = jobs.size();
  for (const ActionRule& a : k.actions) {
    add(a.reveals.empty() ? Condition{} : a.check_when,
        kind_and_place("action", a) + " is a check that may never be suggested");
  }
  for (const OutlookRule& o : k.outlooks) {
    Job& job = add(o.when, kind_and_place("outlook", o) + " is never the one that counts");
    for (const OutlookRule& other : k.outlooks) {
      if (other.outlook > o.outlook) {
        job.rivals.push_back(&other.when);
      }
    }
  }
  for (const CautionRule& c : k.cautions) {
    add(c.when, kind_and_place("caution", c) + " is never shown");
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
    add(is, fmt::format("grade {} is never given", name(static_cast<Grade>(g))));
  }
  // Units are varied in what the condition or a grade asks for.
  const auto varied = [&](const Job& job) {
    std::uint32_t situations = space.graded | mentions_of(job.when).situations;
    for (const Condition* rival : job.rivals) {
      situations |= mentions_of(*rival).situations;
    }
    return situations & Space::kVaried;
  };
  std::map<std::uint32_t, Configurations> configurations;
  for (const Job& job : jobs) {
    if (!configurations.contains(varied(job))) {
      configurations.emplace(varied(job), space.configurations_by(varied(job)));
    }
  }
  spread(jobs.size(),
         [&](std::size_t i) { Finder(space, configurations.at(varied(jobs[i])), jobs[i]).run(); });
  for (const Job& job : jobs) {
    alive.states += job.states;
    if (!job.found) {
      dead(job.what + (job.nowhere ? "" : fmt::format(" in {} states tried", job.states)),
           job.nowhere);
    }
  }

  // Actions, by advice that may be alive or as a check; cautions, by such actions.
  std::set<std::string, std::less<>> used;
  for (std::size_t i = 0; i < k.advice.size(); ++i) {
    if (!jobs[first_advice + i].nowhere) {
      used.insert(k.advice[i].action);
      used.insert(k.advice[i].with.begin(), k.advice[i].with.end());
    }
  }
  for (const ContradictionRule& c : k.contradictions) {
    if (c.ask) {
      used.insert(c.ask->action);
    }
  }
  for (std::size_t i = 0; i < k.actions.size(); ++i) {
    if (!k.actions[i].reveals.empty() && !jobs[first_check + i].nowhere) {
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
      d.unit = space.configurations.all.front();
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
