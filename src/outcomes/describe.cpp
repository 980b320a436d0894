#include "outcomes/describe.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "decide/wording.hpp"
#include "record/shape.hpp"
#include "report/render.hpp"
#include "report/words.hpp"

namespace dryshaft::outcomes {
namespace {

using document::Document;
using document::Item;
using document::Table;
using document::Title;

constexpr int kScoreDigits = 3;
constexpr int kBitsDigits = 2;
constexpr std::size_t kMostRules = 8;
constexpr std::size_t kMostChanges = 12;

std::string fixed(double value, int digits) {
  return fmt::format("{:.{}f}", words::rounded(value, digits) + 0.0, digits);
}
std::string score(double value) { return fixed(value, kScoreDigits); }
std::string bits(double value) { return fixed(value, kBitsDigits); }
std::string signed_bits(double value) { return fmt::format("{:+.1f}", words::rounded(value, 1)); }

// "0.021 (-0.010 to 0.060)"
std::string gain(const Gain& g, int digits) {
  return g.interval ? fmt::format("{} ({} to {})", fixed(g.mean, digits),
                                  fixed(g.interval->low, digits), fixed(g.interval->high, digits))
                    : fixed(g.mean, digits);
}

// "5 %": shares are exact here, and may be 0 or all.
std::string share(double p) { return fmt::format("{:.0f} %", p * 100); }

Table::Column right_of(std::string_view head) { return {.head = std::string(head), .right = true}; }
Table::Column wrapped_last(std::string_view head, std::size_t least) {
  return {.head = std::string(head), .fit = Table::Fit::wrap, .least = least};
}

// Names of causes stand whole: the longest takes this much.
const Table::Column kWhat = {.head = "what", .fit = Table::Fit::wrap, .least = 23};

const Score* first_score(const Outcomes& o) {
  return o.scores.empty() ? nullptr : &o.scores.front();
}

// "The risk told before opening", or the cause where no risk could be scored.
std::string told(const Score& s) {
  return s.id == "risk" ? "the risk given before opening"
                        : fmt::format("the probability of {} given before opening", s.id);
}

// What a change does to the odds, whichever way.
double odds_change(double from, double to) {
  return std::abs(std::log(to / (1 - to)) - std::log(from / (1 - from)));
}

std::string_view short_judgement(Judged judged) {
  return judged == Judged::too_few ? "too few" : name(judged);
}

class Writer : document::Telling {
 public:
  explicit Writer(const Outcomes& o) : o_(o) {}

  document::Description write() {
    if (o_.openings == 0) {
      nothing();
      return {take(), {}};
    }
    head();
    scores();
    document::Description all;
    all.answer = take();
    said_and_found();
    parts();
    rules();
    refit();
    limits();
    how_to_read();
    all.rest = take();
    return all;
  }

 private:
  void nothing() {
    d_.emplace_back(Title{
        answer_of(o_) + ".",
        fmt::format("{}.", words::count(o_.records, "record was read", "records were read"))});
    if (o_.not_seen_before > 0) {
      paragraph(fmt::format(
          "{} with no inspection on or before that day: there is no verdict to compare. Include "
          "the records of inspections before the teardown in the input.",
          words::count(o_.not_seen_before, "unit was opened", "units were opened")));
    }
    if (o_.nothing_examined > 0) {
      paragraph(fmt::format("{} not state for any cause whether it was present.",
                            words::count(o_.nothing_examined, "teardown does", "teardowns do")));
    }
    paragraph(
        "After a teardown, write into a record of the unit what was found, for each cause "
        "\"present\", \"absent\" or \"not-examined\":");
    d_.emplace_back(document::Verbatim{teardown_sample()});
    paragraph(
        "From about ten opened units on, this command shows how good the verdicts were. To refit "
        "strengths takes many more.");
  }

  // One cause of each word that a teardown has for them.
  static std::string teardown_sample() {
    const auto member = [](Cause cause, std::string_view word) {
      return fmt::format("\"{}\": \"{}\"", name(cause), word);
    };
    const std::span<const Choice> found = spec(causes().front().teardown).choices;
    return fmt::format(
        "\"teardown\": {{\"date\": \"2026-03-09\", {},\n"
        "             {},\n"
        "             {}}}",
        member(Cause::seal_leak, found.back().id),
        member(Cause::rotor_bearing_corrosion, found.front().id),
        member(Cause::insulation_loss, kNotExamined));
  }

  [[nodiscard]] std::string verdict_sentence() const {
    const Score& s = *first_score(o_);
    const std::string scores = fmt::format(
        "Brier score {} against {}, log score {} against {} bits; lower is better",
        score(s.brier.brier), score(s.constant_brier), bits(s.log_bits), bits(s.constant_log_bits));
    const std::string_view yardstick = s.id == "risk" ? "knowing only how often damage is found"
                                                      : "knowing only how often it is found";
    switch (s.judged) {
      case Judged::better:
        return sentence_case(fmt::format("{} was better than {}: {}.", told(s), yardstick, scores));
      case Judged::worse:
        return sentence_case(fmt::format("{} was worse than {}: {}.", told(s), yardstick, scores));
      case Judged::open:
        return fmt::format("These teardowns cannot show whether {} was better than {}: {}.",
                           told(s), yardstick, scores);
      case Judged::too_few:
        break;
    }
    return fmt::format("{} too few to show whether {} was better than {} ({}).",
                       words::count(s.count, "teardown is", "teardowns are"), told(s), yardstick,
                       scores);
  }

  [[nodiscard]] std::string refit_sentence() const {
    if (!o_.cross || o_.fit.status == ClimbStatus::no_data) {
      return "To try refitted strengths takes teardowns of two units or more.";
    }
    switch (o_.cross->judged) {
      case Judged::better:
        return "Strengths refitted to these teardowns predicted units outside the fit better than "
               "those in use. An overlay is worth using.";
      case Judged::worse:
        return "Strengths refitted to these teardowns predicted units outside the fit worse than "
               "those in use. Keep those in use.";
      case Judged::open:
        return "These teardowns cannot show whether refitted strengths are better than those in "
               "use. Keep those in use until more units have been opened.";
      case Judged::too_few:
        break;
    }
    return "These teardowns are too few to show whether refitted strengths are better than those "
           "in use. Keep those in use.";
  }

  void head() {
    d_.emplace_back(Title{
        answer_of(o_) + ".",
        fmt::format("{} of {}, {} to {}. Rules {} {}{}.",
                    words::count(o_.openings, "teardown", "teardowns"),
                    words::count(o_.units, "unit", "units"), o_.first_date, o_.last_date,
                    o_.rules_id, o_.rules_version,
                    o_.rules_overlay ? fmt::format(", adapted to {}",
                                                   words::count(o_.rules_overlay->teardowns,
                                                                "own teardown", "own teardowns"))
                                     : std::string())});
    lead("Verdicts", verdict_sentence());
    lead("Refitting", refit_sentence());
    if (!o_.overlay_file.empty()) {
      lead("Overlay",
           fmt::format("{} adapts the rules: give it to --rules. The proofs hold with it{}.",
                       o_.overlay_file,
                       o_.fit.share < 1
                           ? fmt::format(", since strengths go only {} of the way from those in "
                                         "use to the fitted ones",
                                         share(o_.fit.share))
                           : std::string()));
    }
  }

  void scores() {
    heading("How good the verdicts were");
    Table table;
    table.columns = {kWhat,
                     {.head = "verdict"},
                     right_of("units"),
                     right_of("found"),
                     right_of("said"),
                     right_of("Brier"),
                     right_of("rate"),
                     right_of("log"),
                     right_of("rate")};
    for (const Score& s : o_.scores) {
      table.rows.push_back({short_name(s), std::string(short_judgement(s.judged)),
                            fmt::format("{}", s.count), fmt::format("{}", s.happened),
                            words::short_percent(s.mean_said), score(s.brier.brier),
                            score(s.constant_brier), bits(s.log_bits), bits(s.constant_log_bits)});
    }
    d_.emplace_back(std::move(table));
    paragraph(
        "Said: the mean probability before opening. Brier: mean square of said minus found. Log: "
        "in bits. In both, 0 is perfect. Rate: the same score for always giving the rate found in "
        "the other teardowns. Verdict: whether the probabilities were better than that rate. Open: "
        "these teardowns cannot show it.");
    heading("How much better than the rate alone");
    Table gains;
    gains.columns = {kWhat, right_of("Brier gain (95 %)"), right_of("log gain (95 %)")};
    for (const Score& s : o_.scores) {
      gains.rows.push_back(
          {short_name(s), gain(s.brier_gain, kScoreDigits), gain(s.log_gain, kBitsDigits)});
    }
    d_.emplace_back(std::move(gains));
  }

  void said_and_found() {
    heading("What was said, and how often it was found");
    Table table;
    table.columns = {
        kWhat,           right_of("said"), right_of("mean"), right_of("units"), right_of("found"),
        right_of("95 %")};
    for (const Score& s : o_.scores) {
      for (const ReliabilityBin& b : s.table) {
        table.rows.push_back({short_name(s),
                              fmt::format("{:g} to {:g} %", b.from * 100, b.to * 100),
                              words::short_percent(b.mean), fmt::format("{}", b.count),
                              share(static_cast<double>(b.happened) / static_cast<double>(b.count)),
                              fmt::format("{} to {}", share(b.found.low), share(b.found.high))});
      }
    }
    d_.emplace_back(std::move(table));
    paragraph(
        "Intervals are exact (Clopper-Pearson). Said and found agree where the mean lies "
        "within them.");
  }

  void parts() {
    heading("Parts of the Brier score");
    Table table;
    table.columns = {kWhat,
                     right_of("reliability"),
                     right_of("resolution"),
                     right_of("uncertainty"),
                     right_of("var."),
                     right_of("cov.")};
    for (const Score& s : o_.scores) {
      table.rows.push_back({short_name(s), score(s.brier.reliability), score(s.brier.resolution),
                            score(s.brier.uncertainty), score(s.brier.within_variance),
                            score(s.brier.within_covariance)});
    }
    d_.emplace_back(std::move(table));
    paragraph(
        "Brier = reliability - resolution + uncertainty + var. - cov.; the last two are variance "
        "and covariance within bins (Stephenson, Coelho and Jolliffe 2008). Reliability: 0 is "
        "best. Resolution: more is better. Uncertainty: spread of the outcomes themselves.");
  }

  void rules() {
    heading("Rules that misled most");
    Table table;
    table.columns = {right_of("net cost"), right_of("lost"), right_of("misled"), right_of("units"),
                     wrapped_last("rule", 20)};
    std::vector<const RuleCost*> misleading;
    for (const RuleCost& c : o_.costs) {
      if (c.misled > 0) {
        misleading.push_back(&c);
      }
    }
    for (std::size_t i = 0; i < std::min(misleading.size(), kMostRules); ++i) {
      const RuleCost& c = *misleading[i];
      table.rows.push_back({signed_bits(c.net_bits), fixed(c.cost_bits, 1),
                            fmt::format("{}", c.misled), fmt::format("{}", c.count), c.id});
    }
    if (table.rows.empty()) {
      paragraph("No rule moved a probability away from what was found.");
      return;
    }
    d_.emplace_back(std::move(table));
    paragraph(
        "Net cost: the log score of the rule's cause with its finding minus that without it, in "
        "bits, summed over all units. Below 0 the rule helped on the whole. Lost: the same sum "
        "over the units that it misled. Worst first.");
  }

  void refit() {
    heading("Refitted strengths");
    if (o_.cross) {
      const CrossValidation& c = *o_.cross;
      Table table;
      table.columns = {
          {.head = "score"}, right_of("in use"), right_of("refitted"), right_of("gain (95 %)")};
      table.rows.push_back({"Brier", score(c.shipped_brier), score(c.fitted_brier),
                            gain(c.brier_gain, kScoreDigits)});
      table.rows.push_back({"log, bits", bits(c.shipped_log_bits), bits(c.fitted_log_bits),
                            gain(c.log_gain, kBitsDigits)});
      d_.emplace_back(std::move(table));
      paragraph(
          fmt::format("On units outside the fit ({}). Brier: mean over the causes examined. Log: "
                      "all examined causes together.",
                      c.one_by_one ? "each left out in turn"
                                   : fmt::format("{} parts, each left out in turn", c.folds)));
    }
    changes();
    paragraph(prior_sentence());
    if (o_.fit.status == ClimbStatus::stopped) {
      paragraph("The fit was stopped before it had settled.");
    }
    if (!o_.fit.held_back.empty()) {
      paragraph(
          fmt::format("Held back: {}. The proofs require that a worse level points more to damage "
                      "than a better one.",
                      fmt::join(o_.fit.held_back, ", ")));
    }
  }

  void changes() {
    struct Change {
      const FittedRule* rule;
      std::size_t level;
      double by;
    };
    std::vector<Change> changes;
    for (const FittedRule& r : o_.fit.rules) {
      for (std::size_t l = 1; l < spec(r.finding).levels.size(); ++l) {
        changes.push_back({&r, l, odds_change(r.shipped[l], r.fitted[l])});
      }
    }
    std::ranges::stable_sort(changes, std::ranges::greater(), &Change::by);
    if (changes.empty()) {
      return;
    }
    Table table;
    table.columns = {right_of("in use"),
                     right_of("refitted"),
                     right_of("teardowns"),
                     {.head = "level"},
                     wrapped_last("rule", 20)};
    for (std::size_t i = 0; i < std::min(changes.size(), kMostChanges); ++i) {
      const Change& c = changes[i];
      table.rows.push_back({fmt::format("{:.3g}", c.rule->shipped[c.level]),
                            fmt::format("{:.3g}", c.rule->fitted[c.level]),
                            fmt::format("{}", c.rule->teardowns),
                            std::string(spec(c.rule->finding).levels[c.level].id), c.rule->id});
    }
    d_.emplace_back(std::move(table));
    paragraph(fmt::format(
        "How often a rule brings its finding to that level or worse{}.",
        changes.size() > kMostChanges
            ? fmt::format("; the {} of {} values that changed most", kMostChanges, changes.size())
            : std::string()));
  }

  [[nodiscard]] std::string prior_sentence() const {
    return o_.prior_weight
               ? fmt::format(
                     "The present strengths count as much as {:g} teardowns for each value.",
                     *o_.prior_weight)
               : fmt::format(
                     "The present strengths count as estimates with odds uncertain by a factor of "
                     "{:g} either way (the setting memory-band){}. --prior-weight changes that.",
                     o_.memory_band, doubted());
  }

  // Rules that weigh less, since what was found contradicts them.
  [[nodiscard]] std::string doubted() const {
    std::vector<std::string> rules;
    for (const FittedRule& r : o_.fit.rules) {
      if (r.band > o_.memory_band) {
        rules.push_back(fmt::format("{} ({:g})", r.id, r.band));
      }
    }
    return rules.empty() ? ""
                         : fmt::format(", and by more where the teardowns contradict them: {}",
                                       fmt::join(rules, ", "));
  }

  void limits() {
    heading("Limits");
    for (const std::string& limit : o_.limits) {
      d_.emplace_back(Item{0, limit, {}});
    }
  }

  void how_to_read() {
    heading("How to read this");
    paragraph(
        "Each verdict rests on the unit's records up to the day of the teardown, without the "
        "teardown itself. Gains: above 0 is better. Their intervals are bootstrapped over units "
        "and widened for small numbers. The result is better or worse only where both scores agree "
        "and their intervals leave 0 out, from 10 units on.");
    paragraph(
        fmt::format("Rules {} {}. dryshaft {}.", o_.rules_id, o_.rules_version, DRYSHAFT_VERSION));
  }

  const Outcomes& o_;
};

Document whole_study(const Outcomes& outcomes) {
  document::Description parts = describe_outcomes(outcomes);
  std::ranges::move(parts.rest, std::back_inserter(parts.answer));
  return std::move(parts.answer);
}

}  // namespace

std::string answer_of(const Outcomes& outcomes) {
  const Score* s = first_score(outcomes);
  if (s == nullptr) {
    return "No record holds a teardown of a unit that had been inspected before";
  }
  switch (s->judged) {
    case Judged::better:
      return "The verdicts predicted what the teardowns showed";
    case Judged::worse:
      return "The verdicts did worse than the rate alone";
    case Judged::open:
      return "These teardowns cannot show how good the verdicts were";
    case Judged::too_few:
      break;
  }
  return "Too few teardowns to show how good the verdicts were";
}

std::string short_name(const Score& score) { return score.id == "risk" ? "damage" : score.id; }

document::Description describe_outcomes(const Outcomes& outcomes) {
  return Writer(outcomes).write();
}

}  // namespace dryshaft::outcomes

namespace dryshaft {

std::string outcomes_to_text(const Outcomes& outcomes, const TextStyle& style) {
  return document::in_text(outcomes::whole_study(outcomes), style);
}

std::string outcomes_to_markdown(const Outcomes& outcomes) {
  return document::in_markdown(outcomes::whole_study(outcomes));
}

}  // namespace dryshaft
