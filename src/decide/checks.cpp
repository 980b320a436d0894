// What is worth checking next, and what would change the grade.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/index.hpp"
#include "decide/assess.hpp"
#include "decide/grading.hpp"

namespace dryshaft {
namespace {

// Below this a check tells nothing that a report could print.
constexpr double kLeastBits = 0.0005;

double entropy_bits(double p) {
  if (p <= 0 || p >= 1) {
    return 0;
  }
  return -(p * std::log2(p) + (1 - p) * std::log1p(-p) / std::log(2.0));
}

// All joint outcomes of one check, with their probabilities.
class Outcomes {
 public:
  Outcomes(const Knowledge& knowledge, const Model& model, const Case& c, const Prior& prior,
           const std::vector<Finding>& reveals)
      : knowledge_(knowledge), model_(model), prior_(prior), start_(c) {
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
    }
    if (open_.empty()) {
      return;
    }
    before_ = entropy_bits(model.risks(start_, prior).risk);
    gather();
    if (!may_stay_open()) {
      possible_ &= ~(1U << idx(Grade::U));
    }
    unseen_ = possible_;
    Weights weight;
    add_up(false, weight.all);
    add_up(true, weight.for_risk);
    walk(0, start_, weight);
  }

  [[nodiscard]] bool any() const { return leaves_ > 1; }
  [[nodiscard]] double gain_bits() const { return std::max(0.0, before_ - after_); }
  [[nodiscard]] std::vector<Grade> grades() const {
    std::vector<Grade> found;
    for (std::size_t g = 0; g < kGradeCount; ++g) {
      if (((possible_ & ~unseen_) >> g & 1U) != 0) {
        found.push_back(static_cast<Grade>(g));
      }
    }
    return found;
  }

 private:
  // States as a look sees them, by breakdown: the state's bits, and above them the breakdown's.
  static constexpr std::size_t kSeen = kBreakdowns * kStateCount;
  // By gathered state, the first `states_` of them: each stands for states with damage, or for
  // such without, in which a leak that does not show is damage too.
  using Sums = std::array<double, 2 * kSeen>;
  struct Weights {
    Sums all;
    Sums for_risk;
  };
  struct Split {
    double safe = 0;
    double damaged = 0;
    [[nodiscard]] double all() const { return safe + damaged; }
    [[nodiscard]] double risk() const { return damaged / all(); }
  };

  // States that no outcome tells apart, in damage or in what it shows, are added up beforehand.
  void gather() {
    std::size_t telling = 0;
    for (const Finding f : open_) {
      telling |= model_.linked(f);
      if ((model_.show_breakdown() >> idx(f) & 1U) != 0) {
        telling |= (kBreakdowns - 1) * kStateCount;
      }
    }
    for (const bool damaged : {false, true}) {
      safe_states_ = damaged ? states_ : 0;
      for (std::size_t s = 0; s < kSeen; ++s) {
        if ((s & ~telling) == 0) {
          state_[states_] = s % kStateCount;
          breakdown_[states_] = s / kStateCount;
          gathered_[s] = states_++ - safe_states_;
        }
      }
    }
    for (std::size_t s = 0; s < kSeen; ++s) {
      gathered_[s] = gathered_[s & telling];
    }
  }

  // Scaled, so that all sums to 1.
  void add_up(bool graded, Sums& into) const {
    std::fill_n(into.begin(), states_, 0.0);
    const std::array<States, kBreakdowns> weights = model_.weights(start_, prior_, graded);
    double all = 0;
    for (std::size_t d = 0; d < kBreakdowns; ++d) {
      for (std::size_t s = 0; s < kStateCount; ++s) {
        const std::size_t place = gathered_[d * kStateCount + s];
        const double damaged = weights[d][s] * prior_.damaged[s];
        into[place] += weights[d][s] - damaged;
        into[safe_states_ + place] += damaged;
        all += weights[d][s];
      }
    }
    for (std::size_t i = 0; i < states_; ++i) {
      into[i] /= all;
    }
  }

  void walk(std::size_t at, Case& c, const Weights& weight) {
    if (at == open_.size()) {
      leaf(c, weight);
      return;
    }
    const Finding f = open_[at];
    if (!exists(f, c.level)) {
      walk(at + 1, c, weight);
      return;
    }
    for (std::size_t l = 0; l < spec(f).levels.size(); ++l) {
      const int level = static_cast<int>(l);
      Weights next;
      multiply(next.all, weight.all, f, level);
      if (model_.explains_only(f)) {
        std::copy_n(weight.for_risk.begin(), states_, next.for_risk.begin());
      } else {
        multiply(next.for_risk, weight.for_risk, f, level);
      }
      const std::array<double, kBreakdowns> before = model_.unsaid(c.level);
      c.set(f, static_cast<int>(l));
      // What is found now was not said before: that counts for what to expect, not for the grade.
      said(next.for_risk, before, model_.unsaid(c.level));
      walk(at + 1, c, next);
    }
    c.set(f, -1);
  }

  void multiply(Sums& into, const Sums& weight, Finding f, int level) const {
    const States& like = model_.likelihood(f, level);
    const bool breaks = (model_.show_breakdown() >> idx(f) & 1U) != 0;
    const std::array<double, kBreakdowns> risen =
        breaks ? model_.broken(f, level) : std::array<double, kBreakdowns>{1, 1, 1, 1};
    for (std::size_t i = 0; i < states_; ++i) {
      into[i] = weight[i] * like[state_[i]] * risen[breakdown_[i]];
    }
  }

  void said(Sums& weight, const std::array<double, kBreakdowns>& before,
            const std::array<double, kBreakdowns>& now) const {
    if (before == now) {
      return;
    }
    for (std::size_t i = 0; i < states_; ++i) {
      weight[i] *= now[breakdown_[i]] / before[breakdown_[i]];
    }
  }

  [[nodiscard]] Split split(const Sums& weight) const {
    Split sums;
    for (std::size_t i = 0; i < safe_states_; ++i) {
      sums.safe += weight[i];
    }
    for (std::size_t i = safe_states_; i < states_; ++i) {
      sums.damaged += weight[i];
    }
    return sums;
  }

  // Whether an outcome can leave the grade open.
  [[nodiscard]] bool may_stay_open() const {
    const GradeConditions& conditions = model_.grading();
    std::uint64_t told = AskBits::kCauses | AskBits::bit(Situation::risk);
    for (const Finding f : open_) {
      told |= AskBits::bit(f);
    }
    return (conditions.ungraded_asks() & told) != 0 ||
           conditions.holding({.level = start_.level, .situation = start_.situation}).ungraded;
  }

  void leaf(const Case& c, const Weights& weight) {
    ++leaves_;
    const Split all = split(weight.all);
    after_ += all.all() * entropy_bits(all.risk());
    if (unseen_ == 0) {
      return;  // there is no further grade to find
    }
    const double graded_risk = split(weight.for_risk).risk();
    std::array<double, kCauseCount> causes{};
    if (model_.grading().ask_causes()) {
      causes = model_.infer(c, prior_).cause;
    }
    unseen_ &= ~(1U << idx(grade_of(knowledge_, model_.grading(), c, graded_risk, causes)));
  }

  const Knowledge& knowledge_;
  const Model& model_;
  const Prior& prior_;
  Case start_;
  std::vector<Finding> open_;
  bool is_port_ = false;
  std::size_t states_ = 0;                      // gathered; safe ones first
  std::size_t safe_states_ = 0;                 // how many of them
  std::array<std::size_t, 2 * kSeen> state_{};  // of causes: one of those gathered in each
  std::array<std::size_t, 2 * kSeen> breakdown_{};
  std::array<std::size_t, kSeen> gathered_{};  // where each state is, among safe and damaged ones
  double before_ = 0;
  double after_ = 0;
  std::size_t leaves_ = 0;
  unsigned possible_ = (1U << kGradeCount) - 1;  // grades, as bits
  unsigned unseen_ = possible_;                  // those of them that no outcome has given so far
};

// Searches for the fewest findings that would move the grade.
class Changes {
 public:
  Changes(const Knowledge& knowledge, const Model& model, const Case& c, const Prior& prior,
          const Verdict& verdict)
      : knowledge_(knowledge),
        model_(model),
        case_(c),
        prior_(prior),
        verdict_(verdict),
        grade_(verdict.grade),
        port_open_(c.at(Situation::port_check) != idx(PortCheck::fresh)) {}

  std::vector<WouldChange> find() {
    clean_port();
    moves();
    singles();
    // Pairs only in a direction in which no single finding moves the grade.
    const bool better =
        std::ranges::any_of(found_, [&](const WouldChange& w) { return up(w.grade); });
    const bool worse =
        std::ranges::any_of(found_, [&](const WouldChange& w) { return !up(w.grade); });
    const bool best = grade_ == Grade::A;
    const bool worst = grade_ == Grade::D;
    if ((!better && !best) || (!worse && !worst)) {
      pairs(!better && !best, !worse && !worst);
    }
    return std::move(found_);
  }

 private:
  using Named = std::vector<std::pair<std::string_view, std::string_view>>;
  struct Move {
    Finding finding;
    int level;
    int steps;              // levels away from what is on record
    std::uint64_t touches;  // what it can alter, as conditions ask for it
  };

  [[nodiscard]] Grade grade_with(const Case& changed) const {
    return grade_of(knowledge_, model_, changed, prior_);
  }

  // U is no better and no worse than another grade until it is settled: a move
  // to A or B is up, to C or D down.
  [[nodiscard]] bool up(Grade grade) const {
    return grade_ == Grade::U ? grade < Grade::C : severity(grade) < severity(grade_);
  }

  void add(const Named& by, Grade grade) {
    WouldChange w;
    w.findings = by;
    w.grade = grade;
    for (const auto& [finding, level] : by) {
      const FindingSpec& f = spec(*finding_named(finding));
      const auto word = std::ranges::find(f.levels, level, &Choice::id);
      w.shown += fmt::format("{}{}: {}", w.shown.empty() ? "" : "; ", f.title, word->plain);
    }
    found_.push_back(std::move(w));
  }

  static Named::value_type named(Finding finding, int level) {
    const FindingSpec& f = spec(finding);
    return {f.name, f.levels[static_cast<std::size_t>(level)].id};
  }

  static void fresh(Case& c) { c.set(Situation::port_check, PortCheck::fresh); }

  // The plainest result of a look that is missing: dry and clean.
  void clean_port() {
    if (!port_open_) {
      return;
    }
    Case clean = case_;
    Named by;
    for (const FindingSpec& f : findings()) {
      if (f.at_port && f.ordered && clean.at(f.id) <= 0) {
        clean.set(f.id, 0);
        by.push_back(named(f.id, 0));
      }
    }
    fresh(clean);
    const Grade grade = grade_with(clean);
    if (grade != grade_) {
      add(by, grade);
    }
  }

  void moves() {
    for (const FindingSpec& f : findings()) {
      if (f.from_history || !exists(f.id, case_.level)) {
        continue;
      }
      const int now = case_.at(f.id);
      const std::uint64_t touches = touched_with(f.id);
      for (int l = 0; l < static_cast<int>(f.levels.size()); ++l) {
        // A dry port after no look at all is told as the whole look.
        if (l != now && !(port_open_ && l == 0 && f.id == Finding::port_fluid)) {
          moves_.push_back({f.id, l, std::abs(l - std::max(0, now)), touches});
        }
      }
    }
    std::ranges::stable_sort(moves_, {}, &Move::steps);
  }

  static void apply(Case& c, const Move& move) {
    c.set(move.finding, move.level);
    if (move.touches != AskBits::bit(move.finding)) {
      drop_what_does_not_exist(c.level);
    }
    if (move.finding == Finding::port_fluid) {
      fresh(c);
    }
  }

  void singles() {
    // The smallest step to each grade that a finding can reach, by finding.
    std::array<std::array<bool, kGradeCount>, kFindingCount> reached{};
    std::vector<std::pair<Move, Grade>> changing;
    for (const Move& move : moves_) {
      Case changed = case_;
      apply(changed, move);
      const Grade grade = grade_with(changed);
      bool& known = reached.at(idx(move.finding)).at(idx(grade));
      if (grade != grade_ && !known) {
        known = true;
        changing.emplace_back(move, grade);
      }
    }
    std::ranges::stable_sort(changing, {}, [](const auto& c) { return c.first.finding; });
    for (const auto& [move, grade] : changing) {
      add({named(move.finding, move.level)}, grade);
    }
  }

  // A finding changes together with those that exist only next to it.
  static std::uint64_t touched_with(Finding finding) {
    std::uint64_t touched = AskBits::bit(finding);
    for (const FindingSpec& f : findings()) {  // what a finding needs stands before it
      const auto is_touched = [&](Finding other) { return (touched & AskBits::bit(other)) != 0; };
      if ((f.detail_of && is_touched(*f.detail_of)) ||
          std::ranges::any_of(f.needs_one_of, is_touched)) {
        touched |= AskBits::bit(f.id);
      }
    }
    return finding == Finding::port_fluid ? touched | AskBits::bit(Situation::port_check) : touched;
  }

  // Where each of the conditions asks that keep the grade from getting better: unless each has
  // something altered in it, there is nothing to try.
  [[nodiscard]] std::vector<std::uint64_t> in_the_way() const {
    std::vector<std::uint64_t> found;
    const auto stands = [&](Grade grade, std::uint64_t asked) {
      if (severity(grade) >= severity(grade_)) {
        found.push_back(asked);
      }
    };
    const GradeConditions& conditions = model_.grading();
    const GradeConditions::Holding holding = conditions.holding(facts_of(case_, verdict_));
    for (std::size_t i = 0; i < knowledge_.floors.size(); ++i) {
      if ((holding.floors >> i & 1U) != 0) {
        stands(knowledge_.floors[i].grade, conditions.floor_asks(i));
      }
    }
    if (holding.ungraded) {
      stands(Grade::U, conditions.ungraded_asks());
    }
    if (!holding.sound) {
      stands(Grade::B, conditions.sound_asks());
    }
    return found;
  }

  struct Pair {
    std::size_t first;
    std::size_t second;
    int steps;
  };

  // Smallest steps first.
  [[nodiscard]] std::vector<Pair> worth_trying(bool down_wanted) const {
    const std::vector<std::uint64_t> asks =
        down_wanted ? std::vector<std::uint64_t>() : in_the_way();
    constexpr std::uint64_t kAlways = AskBits::bit(Situation::risk) | AskBits::kCauses;
    std::vector<Pair> found;
    for (std::size_t i = 0; i < moves_.size(); ++i) {
      for (std::size_t j = i + 1; j < moves_.size(); ++j) {
        const std::uint64_t touched = moves_[i].touches | moves_[j].touches | kAlways;
        if (moves_[i].finding != moves_[j].finding &&
            std::ranges::all_of(asks, [&](std::uint64_t a) { return (a & touched) != 0; })) {
          found.push_back({i, j, moves_[i].steps + moves_[j].steps});
        }
      }
    }
    std::ranges::stable_sort(found, {}, &Pair::steps);
    return found;
  }

  void pairs(bool up_wanted, bool down_wanted) {
    constexpr std::size_t kMost = 6;  // more would bury the smallest
    std::size_t count = 0;
    for (const Pair& pair : worth_trying(down_wanted)) {
      const Move& a = moves_[pair.first];
      const Move& b = moves_[pair.second];
      Case changed = case_;
      apply(changed, a);
      if (!exists(b.finding, changed.level)) {
        continue;
      }
      apply(changed, b);
      if (!exists(a.finding, changed.level)) {
        continue;
      }
      const Grade grade = grade_with(changed);
      if (grade != grade_ && (up(grade) ? up_wanted : down_wanted)) {
        add({named(a.finding, a.level), named(b.finding, b.level)}, grade);
        if (++count == kMost) {
          return;
        }
      }
    }
  }

  const Knowledge& knowledge_;
  const Model& model_;
  const Case& case_;
  const Prior& prior_;
  const Verdict& verdict_;
  Grade grade_;
  bool port_open_;
  std::vector<Move> moves_;
  std::vector<WouldChange> found_;
};

}  // namespace

std::vector<NextCheck> next_checks(const Knowledge& knowledge, const Model& model, const Case& c,
                                   const Prior& prior, const Verdict& verdict, Audience audience) {
  const Facts facts = facts_of(c, verdict);
  std::vector<NextCheck> checks;
  for (const ActionRule& action : knowledge.actions) {
    if (action.reveals.empty() || !holds(action.check_when, facts)) {
      continue;
    }
    const bool settles =
        verdict.grade == Grade::U &&
        std::ranges::find(action.reveals, Finding::port_fluid) != action.reveals.end();
    // An owner is told what an owner can do, and of the one check that settles an open grade.
    if (audience == Audience::owner && !action.owner_can && !settles) {
      continue;
    }
    const Outcomes outcomes(knowledge, model, c, prior, action.reveals);
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
  std::ranges::stable_sort(checks, [&](const NextCheck& a, const NextCheck& b) {
    if (settled(a) != settled(b)) {
      return settled(a);
    }
    const double rate_a = a.gain_bits / a.minutes;
    const double rate_b = b.gain_bits / b.minutes;
    return rate_a != rate_b ? rate_a > rate_b : a.id < b.id;
  });
  return checks;
}

std::vector<WouldChange> would_change(const Knowledge& knowledge, const Model& model, const Case& c,
                                      const Prior& prior, const Verdict& verdict) {
  return Changes(knowledge, model, c, prior, verdict).find();
}

}  // namespace dryshaft
