// What is worth checking next, and what would change the grade.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "dryshaft/assess.hpp"

namespace dryshaft {
namespace {

constexpr std::size_t idx(auto e) { return static_cast<std::size_t>(e); }

// Below this a check tells nothing that a report could print.
constexpr double kLeastBits = 0.0005;

bool exists(const Case& c, const FindingSpec& f) {
  return !f.detail_of || c.at(*f.detail_of) > 0;
}

void clear_details(Case& c, Finding leader) {
  for (const FindingSpec& f : findings()) {
    if (f.detail_of == leader) {
      c.set(f.id, -1);
    }
  }
}

double entropy_bits(double p) {
  if (p <= 0 || p >= 1) {
    return 0;
  }
  return -(p * std::log2(p) + (1 - p) * std::log1p(-p) / std::log(2.0));
}

// All joint outcomes of one check, with their probabilities.
class Outcomes {
 public:
  Outcomes(const Knowledge& knowledge, const Model& model, const Case& c,
           const std::vector<Finding>& reveals)
      : knowledge_(knowledge), model_(model), start_(c) {
    // A finding that is on record is not found out again, unless the record of
    // the port has grown old: then the new look replaces it.
    const bool port_again = c.at(Situation::port_check) != idx(PortCheck::fresh);
    for (const Finding f : reveals) {
      if (c.at(f) < 0 || (port_again && spec(f).at_port && c.at(f) == 0)) {
        open_.push_back(f);
        start_.set(f, -1);
      }
    }
    for (const Finding f : open_) {
      is_port_ = is_port_ || f == Finding::port_fluid;
    }
    if (is_port_) {
      start_.set(Situation::port_check, PortCheck::fresh);
      start_.port_weight = 1;
    }
    const Posterior prior = model.infer(start_);
    states_ = prior.state;
    before_ = entropy_bits(prior.risk);
    walk(0, start_, states_);
  }

  [[nodiscard]] bool any() const { return leaves_ > 1; }
  [[nodiscard]] double gain_bits() const { return std::max(0.0, before_ - after_); }
  [[nodiscard]] std::vector<Grade> grades() const {
    std::vector<Grade> found;
    for (std::size_t g = 0; g < kGradeCount; ++g) {
      if (seen_[g]) {
        found.push_back(static_cast<Grade>(g));
      }
    }
    return found;
  }

 private:
  void walk(std::size_t at, Case& c, const States& weight) {
    if (at == open_.size()) {
      leaf(c, weight);
      return;
    }
    const Finding f = open_[at];
    if (!exists(c, spec(f))) {
      walk(at + 1, c, weight);
      return;
    }
    for (std::size_t l = 0; l < spec(f).levels.size(); ++l) {
      const States& like = model_.likelihood(f, static_cast<int>(l));
      States next;
      for (std::size_t s = 0; s < kStateCount; ++s) {
        next[s] = weight[s] * like[s];
      }
      c.set(f, static_cast<int>(l));
      walk(at + 1, c, next);
    }
    c.set(f, -1);
  }

  void leaf(const Case& c, const States& weight) {
    ++leaves_;
    double total = 0;
    for (const double x : weight) {
      total += x;
    }
    const Posterior posterior = posterior_of(weight, model_.damaging_states());
    after_ += total * entropy_bits(posterior.risk);
    seen_[idx(judge(knowledge_, c, posterior).grade)] = true;
  }

  const Knowledge& knowledge_;
  const Model& model_;
  Case start_;
  std::vector<Finding> open_;
  bool is_port_ = false;
  States states_{};
  double before_ = 0;
  double after_ = 0;
  std::size_t leaves_ = 0;
  std::array<bool, kGradeCount> seen_{};
};

void in_words(WouldChange& w) {
  for (const auto& [finding, level] : w.findings) {
    const FindingSpec& f = spec(*finding_named(finding));
    const auto word = std::ranges::find(f.levels, level, &Choice::id);
    w.shown += fmt::format("{}{}: {}", w.shown.empty() ? "" : "; ", f.title, word->plain);
  }
}

}  // namespace

std::vector<NextCheck> next_checks(const Knowledge& knowledge, const Model& model, const Case& c,
                                   const Verdict& verdict, Audience audience) {
  const Facts facts = facts_of(c, verdict);
  std::vector<NextCheck> checks;
  for (const ActionRule& action : knowledge.actions) {
    if (action.reveals.empty() || !holds(action.check_when, facts)) {
      continue;
    }
    const bool settles = verdict.grade == Grade::U &&
                         std::ranges::find(action.reveals, Finding::port_fluid) !=
                             action.reveals.end();
    // An owner is told what an owner can do, and of the one check that settles an open grade.
    if (audience == Audience::owner && !action.owner_can && !settles) {
      continue;
    }
    const Outcomes outcomes(knowledge, model, c, action.reveals);
    if (!outcomes.any() || (outcomes.gain_bits() < kLeastBits && !settles)) {
      continue;
    }
    checks.push_back({.id = action.id,
                      .text = audience == Audience::owner ? action.owner_text : action.text,
                      .minutes = action.minutes,
                      .gain_bits = outcomes.gain_bits(),
                      .grades_possible = outcomes.grades()});
  }
  const auto settled = [&](const NextCheck& n) {
    return verdict.grade == Grade::U &&
           std::ranges::find(n.grades_possible, Grade::U) == n.grades_possible.end();
  };
  std::ranges::sort(checks, [&](const NextCheck& a, const NextCheck& b) {
    if (settled(a) != settled(b)) {
      return settled(a);
    }
    const double rate_a = a.gain_bits / a.minutes;
    const double rate_b = b.gain_bits / b.minutes;
    return rate_a != rate_b ? rate_a > rate_b : a.id < b.id;
  });
  return checks;
}

std::vector<WouldChange> would_change(const Knowledge& knowledge, const Model& model,
                                      const Case& c, const Verdict& verdict) {
  std::vector<WouldChange> changes;
  const bool port_open = c.at(Situation::port_check) != idx(PortCheck::fresh);
  const auto consider = [&](const Case& changed, std::vector<std::pair<std::string, std::string>> by) {
    const Grade grade = judge(knowledge, model, changed).grade;
    if (grade == verdict.grade) {
      return;
    }
    WouldChange w;
    w.findings = std::move(by);
    w.grade = grade;
    in_words(w);
    changes.push_back(std::move(w));
  };
  if (port_open) {
    // The plainest result of the check that is missing: dry and clean.
    Case clean = c;
    std::vector<std::pair<std::string, std::string>> by;
    for (const FindingSpec& f : findings()) {
      if (f.at_port && f.ordered && clean.at(f.id) <= 0) {
        clean.set(f.id, 0);
        by.emplace_back(f.name, f.levels[0].id);
      }
    }
    clean.set(Situation::port_check, PortCheck::fresh);
    clean.port_weight = 1;
    consider(clean, std::move(by));
  }
  for (const FindingSpec& f : findings()) {
    if (f.from_history || !exists(c, f)) {
      continue;
    }
    // The smallest step from here to each grade that this finding can reach.
    std::array<bool, kGradeCount> reached{};
    std::vector<int> levels;
    for (std::size_t l = 0; l < f.levels.size(); ++l) {
      if (static_cast<int>(l) != c.at(f.id)) {
        levels.push_back(static_cast<int>(l));
      }
    }
    const int from = std::max(0, c.at(f.id));
    std::ranges::stable_sort(levels, {}, [from](int l) { return std::abs(l - from); });
    for (const int l : levels) {
      Case changed = c;
      changed.set(f.id, l);
      if (l == 0) {
        clear_details(changed, f.id);
      }
      if (f.id == Finding::port_fluid) {
        if (l == 0 && port_open) {
          continue;  // told above, with the whole look
        }
        changed.set(Situation::port_check, PortCheck::fresh);
        changed.port_weight = 1;
      }
      const Grade grade = judge(knowledge, model, changed).grade;
      if (grade != verdict.grade && !reached[idx(grade)]) {
        reached[idx(grade)] = true;
        consider(changed, {{std::string(f.name),
                            std::string(f.levels[static_cast<std::size_t>(l)].id)}});
      }
    }
  }
  return changes;
}

}  // namespace dryshaft
