/// Were the verdicts right? What opening units showed, against what the grader
/// would have said before; and link strengths refitted to it.
///
/// A record with a `teardown` says for each cause whether it was present. The
/// unit's history up to the day of the opening, with nothing of that opening in
/// it, goes to the grader; its probabilities are forecasts, and the teardown is
/// what came of them. All functions are pure, and the same input gives the same
/// numbers on every machine.
///
///     Openings openings = openings_of(histories, knowledge);
///     Outcomes study = study_outcomes(openings, knowledge, {});
///     std::string page = outcomes_to_html(study);
///     Knowledge own = adapted(knowledge, study.fit);
#ifndef DRYSHAFT_OUTCOMES_HPP
#define DRYSHAFT_OUTCOMES_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/diagnose.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/record.hpp"
#include "dryshaft/report.hpp"

namespace dryshaft {

inline constexpr std::string_view kOutcomesFormat = "dryshaft-outcomes/1";

// ------------------------------------------------------------- openings

/// A unit that was opened.
struct Opening {
  std::string unit_id;
  int date = 0;        ///< of the opening, in days since 1970-01-01
  std::string source;  ///< of the record that tells of it
  std::uint32_t line = 0;
  std::string record_sha256;
  Case facts;             ///< as the grader saw the unit on that day, before it was opened
  unsigned examined = 0;  ///< bit mask over `Cause`: what the teardown speaks of
  unsigned found = 0;     ///< those of them that were present
};

struct Openings {
  std::vector<Opening> openings;        ///< by unit and date
  std::size_t not_seen_before = 0;      ///< no inspection up to that day: nothing to compare
  std::size_t nothing_examined = 0;     ///< a teardown that speaks of no cause
  std::vector<Diagnostic> diagnostics;  ///< two records that disagree on one opening
};

/// Evidence is every record up to the day of the opening (an inspection on that
/// day or in the record of the opening counts as made before), judged as of that
/// day. What the opening showed is taken out. So is what was done then: a seal
/// renewed at that odometer reading, and, in the record that says so, bearings
/// and cooling, which describe the unit as it was put together again; and another
/// record of that day that says so, for it was written after the work. Earlier
/// openings stay.
Openings openings_of(std::span<const History> histories, const Knowledge& knowledge);

// --------------------------------------------------------------- scoring

/// A probability, and whether it came about.
struct Forecast {
  double probability = 0;
  bool happened = false;
};

struct Interval {
  double low = 0;
  double high = 0;
};

/// brier = reliability - resolution + uncertainty + within_variance - within_covariance,
/// exactly. With forecasts in bins, the first three (Murphy 1973) do not add up
/// unless all forecasts of a bin are alike; the two terms within bins make up for it.
/// Source: Stephenson, Coelho, Jolliffe 2008, Weather and Forecasting 23, 752-757.
/// Reliability comes out too high in small samples (Ferro, Fricker 2012, Quarterly
/// Journal of the Royal Meteorological Society 138, 1954-1960).
struct BrierParts {
  double brier = 0;        ///< mean square of probability less outcome; 0 is perfect
  double reliability = 0;  ///< how far what was said in a bin is from what was found; 0 is best
  double resolution = 0;   ///< how far what was found differs from bin to bin; more is better
  double uncertainty = 0;  ///< of the outcomes themselves
  double within_variance = 0;
  double within_covariance = 0;
};
/// `edges`, rising, part the bins; a forecast on an edge belongs above it. No
/// forecasts: all zero.
BrierParts brier_parts(std::span<const Forecast> forecasts, std::span<const double> edges);

/// -log2 of the probability of what came about (Good 1952), in bits: 0 is
/// perfect, 1 is a coin's toss. Probabilities are kept 1e-12 from 0 and 1.
double log_score(const Forecast& forecast);

/// Clopper-Pearson interval for a share: exact, so never too narrow; needs count > 0.
Interval exact_share(std::size_t happened, std::size_t count, double confidence);

struct ReliabilityBin {
  double from = 0;
  double to = 1;
  std::size_t count = 0;
  std::size_t happened = 0;
  double mean = 0;  ///< of what was said
  Interval found;   ///< `exact_share` at `kConfidence`
};
/// Bins that hold a forecast.
std::vector<ReliabilityBin> reliability_table(std::span<const Forecast> forecasts,
                                              std::span<const double> edges);

inline constexpr double kConfidence = 0.95;

/// Differences of one unit: their sum, and how many they are.
struct UnitDifference {
  double sum = 0;
  std::size_t count = 0;
};
/// Interval for the mean difference: bootstrap over units, percentiles widened
/// for small numbers (the "expanded percentile interval" of Hesterberg 2015, The
/// American Statistician 69, 371-386, formula from memory). Nothing for fewer
/// than two units.
std::optional<Interval> bootstrap_mean(std::span<const UnitDifference> units, double confidence);

/// What two scores of the same units say of each other.
enum class Judged : std::uint8_t { better, worse, open, too_few };
std::string_view name(Judged judged);

/// How much lower, and so better, one score is than another; the mean of it over openings.
struct Gain {
  double mean = 0;
  std::optional<Interval> interval;
};

/// Forecasts of one cause, or of damage, against what was found.
struct Score {
  std::string id;  ///< a cause, or "risk"
  std::string title;
  std::size_t count = 0;
  std::size_t happened = 0;
  double mean_said = 0;
  BrierParts brier;
  double log_bits = 0;
  std::vector<ReliabilityBin> table;
  /// The yardstick: for each opening, the share of the other openings in which it
  /// was found, half an opening added to either side.
  double constant_brier = 0;
  double constant_log_bits = 0;
  Gain brier_gain;  ///< over the yardstick
  Gain log_gain;
  Judged judged = Judged::too_few;  ///< by both gains
};

/// What a link did to the probability of its cause, over all openings in which its
/// finding was observed and its cause examined: the log score with the finding less
/// that without it. Positive: the finding cost something.
struct RuleCost {
  std::string id;
  Finding finding = Finding::port_fluid;
  Cause cause = Cause::seal_leak;
  std::size_t count = 0;
  std::size_t misled = 0;  ///< moved away from what was found
  double cost_bits = 0;    ///< sum over those that it misled
  double net_bits = 0;     ///< sum over all
};

// --------------------------------------------------------------- fitting

struct FitOptions {
  /// Weight of the shipped judgement, in pseudo-observations for each probability.
  /// Nothing: as many as make its log odds as uncertain as the setting `memory-band` says, and
  /// fewer for a rule that the openings contradict (empirical Bayes: `FittedRule::band`).
  std::optional<double> prior_weight;
  int most_steps = 500;
  double tolerance = 1e-7;  ///< nats by which a step must still raise the penalised likelihood
};

/// Strengths of a link or a background, from harmless to worst; the first is 1.
struct FittedRule {
  std::string id;
  bool background = false;
  Finding finding = Finding::port_fluid;
  Cause cause = Cause::seal_leak;  ///< of a link
  std::array<double, kMaxLevels> shipped{};
  std::array<double, kMaxLevels> fitted{};
  /// Openings with the finding observed and the cause not found absent.
  std::size_t teardowns = 0;
  /// Odds factor by which the shipped values were taken to be off, where `FitOptions` leave it to
  /// the rules: the setting `memory-band`, or a power of it where teardowns contradict them.
  double band = 1;
};

enum class ClimbStatus : std::uint8_t { no_data, converged, stopped };
std::string_view name(ClimbStatus status);

struct OutcomeFit {
  ClimbStatus status = ClimbStatus::no_data;
  /// Penalised log likelihood after each step, in nats, 0 the shipped judgement's penalty.
  std::vector<double> climb;
  std::vector<FittedRule> rules;       ///< those with a teardown behind them, links first
  std::vector<std::string> held_back;  ///< findings whose step the proofs shortened
  double share = 1;                    ///< of the way from shipped to fitted that is taken
};

/// Maximum a posteriori by expectation and maximisation (Dempster, Laird, Rubin
/// 1977). What is hidden: causes that were not examined, whether a leak had reached the
/// sensor's tip and what had broken down (all states are enumerated), and which of the
/// causes present, or the background, brought a finding to its level. The probability of level `l`,
/// given that it is no worse, has a Beta prior with its mode at the shipped value, so levels stay
/// in order. A step that would let a worse level of an ordered finding speak less for a damaging
/// cause than a better one does (what `prove` demands) is shortened: the likelihood
/// rises along the whole of a step. Base rates of causes are not refitted: units are not
/// opened by chance. What openings show (`opened-...`) is the yardstick, and stays.
OutcomeFit fit_outcomes(std::span<const Opening> openings, const Knowledge& knowledge,
                        const FitOptions& options);

/// The rules with fitted strengths; those that no teardown speaks of stand as shipped.
Knowledge adapted(const Knowledge& knowledge, const OutcomeFit& fit);

/// Strengths that go only this share of the way from shipped to fitted.
OutcomeFit pulled_back(const OutcomeFit& fit, double share);

/// Refitted against shipped strengths, on openings that the fit has not seen.
struct CrossValidation {
  std::size_t folds = 0;
  bool one_by_one = false;  ///< a fold a unit
  double shipped_brier = 0;
  double fitted_brier = 0;
  double shipped_log_bits = 0;  ///< of everything examined in an opening, jointly
  double fitted_log_bits = 0;
  Gain brier_gain;
  Gain log_gain;
  Judged judged = Judged::too_few;
};

struct StudyOptions {
  FitOptions fit;
  /// Folds of the cross-validation; nothing: a fold a unit up to 60 units, then ten.
  std::optional<std::size_t> folds;
  /// Calls `work(i)` once for every i below `count`, in any order, perhaps at the same time.
  std::function<void(std::size_t count, const std::function<void(std::size_t)>& work)> spread =
      nullptr;
};

/// Everything that `dryshaft fit outcomes` tells.
struct Outcomes {
  std::string rules_id;
  std::string rules_version;
  std::string rules_sha256;
  std::string families_sha256;
  std::optional<Overlay> rules_overlay;
  std::size_t openings = 0;
  std::size_t units = 0;
  std::string first_date;
  std::string last_date;
  std::size_t not_seen_before = 0;
  std::size_t nothing_examined = 0;
  std::size_t records = 0;      ///< read; set by the caller, for the message where none was opened
  std::vector<Score> scores;    ///< the risk first, then causes that were examined
  std::vector<RuleCost> costs;  ///< worst first
  OutcomeFit fit;
  std::optional<double> prior_weight;
  double memory_band = 0;
  std::optional<CrossValidation> cross;
  std::vector<std::string> limits;
  std::string overlay_file;  ///< where the caller wrote one; or empty
};
Outcomes study_outcomes(const Openings& openings, const Knowledge& knowledge,
                        const StudyOptions& options);

/// The overlay (`dryshaft-overlay/1`) that `with_overlay` reads back to the same numbers.
std::string overlay_text(const OutcomeFit& fit, const Openings& openings,
                         const Knowledge& knowledge, const FitOptions& options);

std::string outcomes_to_json(const Outcomes& outcomes);  ///< one line, `dryshaft-outcomes/1`
std::string outcomes_to_text(const Outcomes& outcomes, const TextStyle& style);
std::string outcomes_to_markdown(const Outcomes& outcomes);
/// A page of its own, with reliability diagrams; it loads nothing, and runs nothing.
std::string outcomes_to_html(const Outcomes& outcomes);

}  // namespace dryshaft

#endif
