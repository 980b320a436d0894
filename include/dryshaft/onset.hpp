/// When leaks begin, from a shop's own records, and how often to look.
///
/// A check tells only whether a leak has begun by then, so each seal gives an
/// interval: after its last dry check, not after its first wet one. From these
/// come three curves by maximum likelihood, a step estimate that assumes no
/// curve, and a Weibull curve that joins the shipped judgement with the data.
/// Nothing here throws on data or opens a file; the same input gives the same
/// numbers. Distances in km or ages in years; a plain table may be in any unit.
#ifndef DRYSHAFT_ONSET_HPP
#define DRYSHAFT_ONSET_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <limits>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "dryshaft/diagnostic.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/record.hpp"
#include "dryshaft/report.hpp"

namespace dryshaft {

inline constexpr std::string_view kOnsetFormat = "dryshaft-onset/1";
inline constexpr double kMostOnsetUnits = 1e15;  ///< that a report may rest on
inline constexpr double kNoEnd = std::numeric_limits<double>::infinity();

// --------------------------------------------------------------- intervals

/// A leak began after `left` and not after `right`. `left` 0: wet when first
/// looked at (left-censored); `right` infinite: still dry (right-censored);
/// equal ends: an exact distance.
struct OnsetInterval {
  double left = 0;
  double right = kNoEnd;
  double count = 1;      ///< how many units it stands for, > 0
  std::string unit;      ///< unit id; empty for a row of a table
  std::size_t seal = 1;  ///< of that unit, counted from 1
  std::string source;    ///< where the look that ends it stands
  std::uint32_t line = 0;
  std::string group;           ///< value of the field that curves are compared by; empty: not known
  bool worse_reading = false;  ///< wet by the worse of two readings of what is on record
  bool assumed = false;        ///< `right` is not on record: what a verdict would assume
};

/// A unit, a seal or a look that gave no interval, and why.
struct OnsetLeftOut {
  std::string what;  ///< "unit", "seal" or "look"
  std::string id;    ///< stable id of the reason, such as "factory-dry"
  std::string reason;
  std::string unit;
  std::string source;
  std::uint32_t line = 0;
};

enum class OnsetAxis : std::uint8_t { km, years, plain };
std::string_view name(OnsetAxis axis);  ///< km, years, plain

struct OnsetData {
  OnsetAxis axis = OnsetAxis::km;
  std::string by;  ///< field or column that groups are made by; empty: none
  std::vector<OnsetInterval> intervals;
  std::vector<OnsetLeftOut> left_out;
  std::size_t units = 0;            ///< with at least one interval; in a table: the sum of counts
  std::size_t cooling_unknown = 0;  ///< of these, units not known to have a wet rotor
};

/// Takes out which units and files the data are from, so that a report can be given away: ids, file
/// names and lines. After the fit, which tells units apart; groups keep their names.
void make_anonymous(OnsetData& data);

/// Intervals of all seals of all units. The rules for awkward histories stand in
/// DEVELOPERS.md, "How onset intervals are made". `by`: `family`, `vehicle`,
/// `rotor_bearings`, `gear_bearings` or a shop's own `x_` key; empty: none.
OnsetData onset_intervals(const std::vector<History>& histories, const Knowledge& knowledge,
                          OnsetAxis axis, std::string_view by);

/// Intervals from CSV text (RFC 4180): columns `left`, `right`, `count` by name
/// (`count` may be missing: 1), others as groups for `by`. `inf` or nothing: no
/// upper end; `left` 0 or nothing: left-censored. All errors are located; a
/// table with an error has no value.
Result<OnsetData> read_onset_table(std::string_view text, std::string_view source, OnsetAxis axis,
                                   std::string_view by);

// ------------------------------------------------------------------ curves

/// Each is a location-scale family of log distance y: F(t) = G((y - mu) / sigma).
enum class CurveKind : std::uint8_t {
  weibull,      ///< shape k = 1/sigma, scale eta = exp(mu): F = 1 - exp(-(t/eta)^k)
  lognormal,    ///< shape sigma (of log distance), scale exp(mu), the median
  log_logistic  ///< shape 1/sigma, scale exp(mu), the median: F = 1/(1 + (t/scale)^-shape)
};
inline constexpr std::size_t kCurveCount = 3;
std::string_view name(CurveKind kind);  ///< weibull, lognormal, log-logistic

/// Whether a finite maximum of the likelihood exists, and why not. The log
/// likelihood is concave in (mu/sigma, 1/sigma) (Burridge 1981, from memory), so
/// this is decided by the data before any iteration.
enum class FitStatus : std::uint8_t {
  converged,
  no_data,
  all_left_censored,    ///< every unit was wet at its first look
  all_right_censored,   ///< no leak was seen
  one_distance,         ///< one distance lies in all intervals: the curve becomes a step
  not_rising,           ///< no interval is closed, and wet looks came no later than dry ones
  group_without_bound,  ///< a group with only wet, or only dry, looks: its factor has no bound
  not_converged         ///< the bound on iterations was reached
};
std::string_view name(FitStatus status);
std::string_view explain(FitStatus status);  ///< a sentence

/// 95 % by profile likelihood; an end that the data do not bound is 0 or infinite.
struct Interval95 {
  double low = 0;
  double high = kNoEnd;
};

struct CurveFit {
  CurveKind kind = CurveKind::weibull;
  FitStatus status = FitStatus::no_data;
  double shape = 0;
  double scale = 0;
  double log_likelihood = 0;  ///< exact distances by density, others by probability
  double mu = 0;              ///< log scale
  double sigma = 0;
  /// Of (mu, log sigma), from the observed information.
  double var_mu = 0;
  double cov_mu_log_sigma = 0;
  double var_log_sigma = 0;
  double se_shape = 0;  ///< delta method
  double se_scale = 0;
  int iterations = 0;
  double decrement = 0;  ///< Newton decrement at the end: twice the log likelihood still to gain
};

/// Maximum likelihood by damped Newton steps, at most 200.
CurveFit fit_curve(CurveKind kind, std::span<const OnsetInterval> intervals);
double curve_probability(CurveKind kind, double shape, double scale, double at);
double curve_quantile(CurveKind kind, double shape, double scale, double probability);
/// Log likelihood at given parameters.
double curve_log_likelihood(CurveKind kind, std::span<const OnsetInterval> intervals, double shape,
                            double scale);

struct CurveIntervals {
  Interval95 shape;
  Interval95 scale;
  std::vector<Interval95> probability;  ///< parallel to the distances asked for
  std::vector<Interval95> quantile;     ///< parallel to the probabilities asked for
};
/// Profile-likelihood intervals around a converged fit.
CurveIntervals curve_intervals(const CurveFit& fit, std::span<const OnsetInterval> intervals,
                               std::span<const double> distances,
                               std::span<const double> probabilities);

/// Accelerated failure time: a group's distances are those of the reference
/// group, the first, times a factor.
struct OnsetRegression {
  CurveKind kind = CurveKind::weibull;
  FitStatus status = FitStatus::no_data;
  bool numeric = false;  ///< one factor for each unit of a number, in place of groups
  struct Group {
    std::string name;
    double count = 0;
    double scale = 0;   ///< of its own curve
    double factor = 1;  ///< of distance, against the reference; numeric: for one more unit
    double log_factor = 0;
    double se_log_factor = 0;
  };
  std::vector<Group> groups;
  std::string unbounded;  ///< the group behind `group_without_bound`
  double shape = 0;
  double mu = 0;  ///< of the reference; numeric: at 0
  double log_sigma = 0;
  double se_mu = 0;
  double se_log_sigma = 0;
  double log_likelihood = 0;
  double log_likelihood_without = 0;  ///< one curve for all of the same rows
  double ratio = 0;                   ///< likelihood-ratio statistic
  int degrees = 0;
  double p_value = 1;
  double count_without_group = 0;  ///< units left out: their group is not known
};
/// Groups by the value of the intervals' `group`; spellings of one number are one group.
OnsetRegression fit_regression(CurveKind kind, std::span<const OnsetInterval> intervals);

/// Turnbull's estimate (1976): chance in each innermost interval.
struct StepEstimate {
  struct Step {
    double left = 0;
    double right = 0;  ///< infinite: beyond the last look
    double probability = 0;
    double below = 0;     ///< F at `right`: sum up to here
    Interval95 below_95;  ///< of `below`
  };
  std::vector<Step> steps;  ///< with a positive chance, by distance
  double log_likelihood = 0;
  double gap = 0;  ///< the log likelihood cannot be raised by more than this (Fenchel bound)
  bool converged = false;
  int iterations = 0;
  std::size_t resamples = 0;  ///< behind the intervals; 0: none were made
  double work = 0;            ///< terms added up on the way, which its time goes by
};
/// `resamples`: of units, drawn with replacement by a fixed seed, for percentile intervals.
/// `told(done)` is called after each of these; it may be empty.
StepEstimate step_estimate(std::span<const OnsetInterval> intervals, std::size_t resamples,
                           const std::function<void(std::size_t done)>& told = {});
/// F at a distance: the least and the greatest that the steps allow there.
std::pair<double, double> step_probability(const StepEstimate& steps, double at);

// ------------------------------------------------- judgement and data joined

/// Independent normal densities of log shape and log scale of a Weibull curve.
struct OnsetPrior {
  double shape = 1;  ///< medians
  double scale = 1;
  double sd_log_shape = 1;
  double sd_log_scale = 1;
};

/// The stated widths of the judgement: `dryshaft-onset-prior/1`.
struct OnsetPriorWidths : Item {
  double sd_log_shape = 0;
  double sd_log_scale = 0;
};
Result<OnsetPriorWidths> load_onset_prior(const NamedText& file);
/// The prior for an axis: shape and scale of the rules' wear-out, with the stated
/// widths; nothing for a plain axis, or where the rules hold no wear-out.
std::optional<OnsetPrior> onset_prior(const Knowledge& knowledge, const OnsetPriorWidths& widths,
                                      OnsetAxis axis);

/// A Weibull curve known as a cloud of weighted points (log shape, log scale).
class WeibullCloud {
 public:
  struct Point {
    double log_shape = 0;
    double log_scale = 0;
    double weight = 0;  ///< all sum to 1
  };
  WeibullCloud() = default;
  explicit WeibullCloud(std::vector<Point> points) : points_(std::move(points)) {}
  [[nodiscard]] const std::vector<Point>& points() const { return points_; }
  [[nodiscard]] double probability(double at) const;  ///< mean of F
  [[nodiscard]] double hazard(double at) const;       ///< -log(1 - mean of F)
  /// Mean and central 95 % of a quantity.
  struct Summary {
    double mean = 0;
    double median = 0;
    Interval95 range;
  };
  [[nodiscard]] Summary shape() const;
  [[nodiscard]] Summary scale() const;
  [[nodiscard]] Summary probability_at(double at) const;
  [[nodiscard]] Summary quantile(double probability) const;

 private:
  std::vector<Point> points_;
};

struct OnsetPosterior {
  WeibullCloud prior;
  WeibullCloud posterior;
  double log_evidence = 0;  ///< log of the likelihood averaged over the prior
  double edge = 0;          ///< share of the weight at the edge of the grid
  double change = 0;        ///< largest change of F between the grid and its half
  bool checked = false;     ///< both are small enough
};
/// Numeric integration on a grid that is fitted to the posterior's peak.
OnsetPosterior onset_posterior(std::span<const OnsetInterval> intervals, const OnsetPrior& prior);

// ------------------------------------------------------- how often to look

/// Distances, or ages at the rules' yearly distance, as a report gives them that goes by the joined
/// curve: for a unit that was found dry and clean, with nothing else on record.
struct OnsetRecheck {
  double at = 0;       ///< distance of the seal
  double first = 0;    ///< next look after one look there, the first ever
  double regular = 0;  ///< the same where the seal was looked at that often all along
  double leak_by = 0;  ///< chance that a leak has begun by there
};
struct OnsetPlan {
  std::vector<double> looks;  ///< at these distances of the seal, each `regular` after the last
  double until = 0;           ///< distance that the figures below speak of
  double checks = 0;          ///< expected for a hundred units
  double found = 0;           ///< leaks found before damage, for a hundred units
  double damaged = 0;         ///< harm to rotor bearings or winding before a leak was found
  double without = 0;         ///< the same with no checks at all
};

// ----------------------------------------------------------------- the whole

struct OnsetOptions {
  std::vector<double> distances;  ///< empty: usual ones for the axis
  std::optional<OnsetPrior> prior;
  std::shared_ptr<const Knowledge> rules;  ///< that rechecks go by; null: there are none
  std::size_t resamples = 200;
};
/// From rules and axis: what `fit_onset` needs of them.
OnsetOptions onset_options(const Knowledge& knowledge, OnsetAxis axis,
                           const std::optional<OnsetPriorWidths>& widths);

struct OnsetReport {
  OnsetData data;
  OnsetOptions options;
  double left_censored = 0;  ///< counts of units
  double between = 0;
  double exact = 0;
  double right_censored = 0;
  std::array<CurveFit, kCurveCount> curves;
  std::array<std::optional<CurveIntervals>, kCurveCount> intervals;
  std::vector<double> probabilities;  ///< of the quantiles in `intervals`
  StepEstimate steps;
  struct Gap {
    double largest = 0;  ///< of |curve - steps|
    double at = 0;
    bool inside = true;  ///< the curve stays within the steps' intervals
  };
  std::array<std::optional<Gap>, kCurveCount> fit;  ///< how well each curve follows the steps
  std::optional<CurveKind> best;                    ///< of the greatest likelihood
  std::vector<OnsetRegression> regressions;         ///< one a curve, where groups were asked for
  std::optional<OnsetPosterior> joined;
  std::vector<OnsetRecheck> rechecks;
  std::optional<OnsetPlan> plan;
  /// Grader: distance or age, and cumulative hazard of the joined curve.
  std::vector<std::pair<double, double>> grader;
  std::vector<std::string> limits;
};
/// `told(done, of)` is called as the work goes on; it may be empty.
OnsetReport fit_onset(OnsetData data, const OnsetOptions& options,
                      const std::function<void(std::size_t done, std::size_t of)>& told);

/// A report with what its reader must know of where it is from.
struct OnsetSheet {
  std::vector<std::string> sources;
  std::string rules_id;
  std::string rules_version;
  std::string rules_sha256;
  std::string families_sha256;
  std::string prior_source;  ///< mark of the judgement, in words
  /// Of the rule data, in the order in which they are shown: id and text.
  std::vector<std::pair<std::string, std::string>> cautions;
  OnsetReport report;
};
std::string onset_to_json(const OnsetSheet& sheet);  ///< one line, `dryshaft-onset/1`
std::string onset_to_text(const OnsetSheet& sheet, const TextStyle& style);
std::string onset_to_markdown(const OnsetSheet& sheet);
/// A page of its own, with pictures; it loads nothing, and runs nothing.
std::string onset_to_html(const OnsetSheet& sheet);

/// Puts the grader's table of a `dryshaft-onset/1` text in place of the rules'
/// wear-out of the seal. False where it cannot: `out` says why and where.
bool use_onset(Knowledge& knowledge, const NamedText& file, std::vector<Diagnostic>& out);

}  // namespace dryshaft

#endif
