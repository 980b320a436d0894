#include "onset/describe.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "base/sentence.hpp"
#include "decide/wording.hpp"
#include "report/render.hpp"
#include "report/words.hpp"

namespace dryshaft::onset {
namespace {

using document::Document;
using document::Table;
using document::Title;

constexpr std::size_t kListedUnits = 6;   // named behind a reason
constexpr std::size_t kListedSteps = 24;  // rows of the step table

std::string count_of(double count) {
  constexpr double kWhole = 1e15;
  return count == std::floor(count) && count < kWhole ? grouped(count)
                                                      : fmt::format("{:.6g}", count);
}

// Three digits, thousands separated: what an interval end needs.
std::string three(double value) {
  if (!std::isfinite(value)) {
    return "no end";
  }
  constexpr double kGrouped = 1000;
  if (value >= kGrouped && value < 1e15) {
    const double step = std::pow(10, std::floor(std::log10(value)) - 2);
    return grouped(std::round(value / step) * step);
  }
  return fmt::format("{:.3g}", value);
}

std::string chance(double p) { return words::short_percent(p); }

// Percent without the sign; never certain.
std::string percents(double p) {
  constexpr double kLeast = 0.01;
  return p < kLeast ? "<1" : p > 1 - kLeast ? ">99" : fmt::format("{:.0f}", p * 100);
}

std::string chances(const Interval95& i) {
  return fmt::format("{} to {}", chance(i.low), chance(i.high));
}

Table::Column right_column(std::string head) { return {.head = std::move(head), .right = true}; }
Table::Column text_column(std::string head) {
  constexpr std::size_t kLeast = 18;
  return {.head = std::move(head), .fit = Table::Fit::wrap, .least = kLeast};
}

class OnsetDescriber : document::Telling {
 public:
  explicit OnsetDescriber(const OnsetSheet& sheet) : s_(sheet), r_(sheet.report) {}

  document::Description describe() {
    head();
    document::Description all;
    all.answer = take();
    joined();
    cautions();
    rechecks();
    curves();
    groups();
    steps();
    left_out();
    limits();
    basis();
    all.rest = take();
    return all;
  }

 private:
  [[nodiscard]] std::string at(double value) const { return shown_at(r_.data.axis, value); }
  [[nodiscard]] std::string between(const Interval95& i) const {
    const std::string unit = unit_word();
    return fmt::format("{} to {}{}", three(i.low), three(i.high), unit.empty() ? "" : " " + unit);
  }
  [[nodiscard]] std::string unit_word() const {
    return r_.data.axis == OnsetAxis::km ? "km" : r_.data.axis == OnsetAxis::years ? "years" : "";
  }
  [[nodiscard]] double leaks() const { return r_.left_censored + r_.between + r_.exact; }
  // "the distance" or "the age"
  [[nodiscard]] std::string_view axis_word() const {
    return r_.data.axis == OnsetAxis::years ? "age" : "distance";
  }

  void head() {
    const double all = leaks() + r_.right_censored;
    d_.emplace_back(Title{"When leaks begin, and how often to check",
                          fmt::format("{} {}{}, by {}", count_of(all),
                                      r_.data.axis == OnsetAxis::plain ? "unit" : "seal",
                                      all == 1 ? "" : "s", axis_title(r_.data.axis))});
    answer();
    lead("Seen",
         fmt::format("{} leaked ({} already at the first port check, {} between two checks{}), {} "
                     "{} still dry",
                     count_of(leaks()), count_of(r_.left_censored), count_of(r_.between),
                     r_.exact > 0 ? fmt::format(", {} at a known point", count_of(r_.exact)) : "",
                     count_of(r_.right_censored), r_.right_censored == 1 ? "was" : "were"));
    if (!r_.data.left_out.empty()) {
      lead("Left out", fmt::format("{}, each with its reason below",
                                   words::count(r_.data.left_out.size(), "unit, seal or port check",
                                                "units, seals or port checks")));
    }
  }

  void answer() {
    if (r_.joined) {
      const WeibullCloud& cloud = r_.joined->posterior;
      const auto tenth = cloud.quantile(0.1);
      const auto half = cloud.quantile(0.5);
      std::string text = fmt::format(
          "{} a leak begins by {} in one of ten (likely {}) and by {} in half of them (likely {}).",
          whose(), at_short(tenth.median), between(tenth.range), at_short(half.median),
          between(half.range));
      if (r_.plan && !r_.rechecks.empty()) {
        // On a new seal, and at a third and at two thirds of the way.
        const OnsetRecheck& a = r_.rechecks[r_.rechecks.size() / 3];
        const OnsetRecheck& b = r_.rechecks[r_.rechecks.size() * 2 / 3];
        text += fmt::format(
            " By that alone: check the port first at {}, then recheck every {} at {}, every {} at "
            "{}. The table below has the rest. The longest interval of the rules, which guide and "
            "assess name for a good unit, applies as well: whichever comes first.",
            every(r_.rechecks.front().regular), every(a.regular), at(a.at), every(b.regular),
            at(b.at));
      }
      lead("Answer", std::move(text));
      return;
    }
    if (!r_.best) {
      lead("Answer",
           fmt::format("No curve has a best fit: {}.", explain(r_.curves.front().status)));
      return;
    }
    const auto i = static_cast<std::size_t>(*r_.best);
    const CurveFit& fit = r_.curves.at(i);
    const double tenth = curve_quantile(fit.kind, fit.shape, fit.scale, 0.1);
    const double half = curve_quantile(fit.kind, fit.shape, fit.scale, 0.5);
    lead("Answer",
         fmt::format("A leak begins by {} in one of ten ({}) and by {} in half ({}). This is the "
                     "{} curve, which fits best.",
                     at_short(tenth), between(r_.intervals.at(i)->quantile[1]), at_short(half),
                     between(r_.intervals.at(i)->quantile[2]), name(fit.kind)));
  }

  // Whose numbers these are: with no leak, or too few to fit a curve to, judgement decides.
  [[nodiscard]] std::string_view whose() const {
    if (!(leaks() > 0)) {
      return "None of your units has leaked yet, so this is an estimate, not your data:";
    }
    const auto w = static_cast<std::size_t>(CurveKind::weibull);
    return r_.intervals.at(w) ? "On your units"
                              : "Your units alone fit no curve, so the estimate decides here:";
  }

  [[nodiscard]] std::string at_short(double value) const {
    const std::string unit = unit_word();
    return three(value) + (unit.empty() ? "" : " " + unit);
  }
  // For a narrow column: kilometres in thousands.
  [[nodiscard]] std::string place(double value) const {
    return !std::isfinite(value)           ? "no end"
           : r_.data.axis == OnsetAxis::km ? fmt::format("{:.3g}k", value / 1000)
                                           : fmt::format("{:.4g}", value);
  }
  // A distance that must not be exceeded.
  [[nodiscard]] std::string every(double value) const {
    if (r_.data.axis == OnsetAxis::km) {
      return words::limit(value, Units::km) + " km";
    }
    constexpr double kHundredth = 100;  // a few days
    const double years = std::floor(value * kHundredth + 1e-9) / kHundredth;
    return fmt::format("{:g} {}", years, years == 1 ? "year" : "years");
  }

  void joined() {
    if (!r_.joined) {
      return;
    }
    heading("Estimate, data, and both together");
    const auto w = static_cast<std::size_t>(CurveKind::weibull);
    const CurveFit& fit = r_.curves.at(w);
    const bool alone = r_.intervals.at(w).has_value();
    Table t;
    t.columns = {{.head = "Weibull curve"},
                 right_column("estimate"),
                 right_column("data alone"),
                 right_column("both together")};
    const auto row = [&](std::string what, const auto& shown, const auto& of_cloud, double of_data,
                         const Interval95* data_range) {
      const auto cell = [&](double value, const Interval95& range) {
        return fmt::format("{} ({}-{})", shown(value), shown(range.low), shown(range.high));
      };
      const auto a = of_cloud(r_.joined->prior);
      const auto b = of_cloud(r_.joined->posterior);
      t.rows.push_back({std::move(what), cell(a.median, a.range),
                        alone ? cell(of_data, *data_range) : "no best fit",
                        cell(b.median, b.range)});
    };
    const CurveIntervals none;
    const CurveIntervals& ends = alone ? *r_.intervals.at(w) : none;
    const auto digits = [](double x) {
      return std::isfinite(x) ? fmt::format("{:.2g}", x) : "any";
    };
    row(
        "shape", digits, [](const WeibullCloud& c) { return c.shape(); }, fit.shape, &ends.shape);
    row(
        fmt::format("scale, {}", r_.data.axis == OnsetAxis::km ? "km" : "years"),
        [&](double x) { return place(x); }, [](const WeibullCloud& c) { return c.scale(); },
        fit.scale, &ends.scale);
    for (std::size_t i = 0; i < r_.options.distances.size(); ++i) {
      const double where = r_.options.distances[i];
      row(
          fmt::format("% leak by {}", r_.data.axis == OnsetAxis::km
                                          ? fmt::format("{:g}k", where / 1000)
                                          : fmt::format("{:g} y", where)),
          [](double p) { return percents(p); },
          [where](const WeibullCloud& c) { return c.probability_at(where); },
          curve_probability(fit.kind, fit.shape, fit.scale, where),
          alone ? &ends.probability[i] : nullptr);
    }
    d_.emplace_back(std::move(t));
    paragraph(
        fmt::format("In brackets: 95 % of the probability, or of the profile likelihood for the "
                    "data alone. The estimate comes from the rules ({}). With few leaks it "
                    "decides; with many, the data do.",
                    s_.prior_source));
  }

  // Those of a port check stand before it is asked for.
  void cautions() {
    if (s_.cautions.empty() || !r_.plan) {
      return;
    }
    heading("Cautions");
    for (const auto& [id, text] : s_.cautions) {
      item(text);
    }
  }

  void rechecks() {
    if (!r_.plan) {
      return;
    }
    const Settings& s = r_.options.rules->settings;
    heading("How often to check the port");
    Table t;
    t.columns = {right_column("dry at"), right_column("leak by then"),
                 right_column("recheck within"), right_column("if never checked")};
    for (const OnsetRecheck& c : r_.rechecks) {
      t.rows.push_back({at(c.at), chance(c.leak_by), every(c.regular), every(c.first)});
    }
    d_.emplace_back(std::move(t));
    const double of_axis = r_.data.axis == OnsetAxis::km ? 1 : s.km_per_year;
    paragraph(fmt::format(
        "This is the recheck that assess --onset gives with this curve. It holds for a unit found "
        "dry and clean, with nothing else on record{}. Damage begins before the recheck in at most "
        "{} of units checked that often from the start, and of units never checked before. The "
        "rules say how a leak grows, what it damages and how often a check misses it. No interval "
        "is longer than the rules give a unit of that grade. No interval of a unit graded A or B "
        "is shorter than {}, however old the seal. Where that interval is shown, the target may "
        "not be met.",
        r_.data.axis == OnsetAxis::years ? fmt::format(" but its age, driven {} a year",
                                                       words::distance(s.km_per_year, Units::km))
                                         : "",
        percent(s.damage_target), every(s.recheck_least_km / of_axis)));
    paragraph(fmt::format(
        "A hundred new seals, checked by this table up to {}, but not after a leak is found: "
        "{:.0f} port checks, {:.0f} leaks found before damage, {:.1f} damaged all the same. "
        "Without any check {:.0f} would be damaged.",
        at(r_.plan->until), r_.plan->checks, r_.plan->found, r_.plan->damaged, r_.plan->without));
  }

  void curves() {
    heading("Curves by the data alone");
    Table t;
    t.columns = {{.head = "curve"},
                 right_column("shape"),
                 right_column("scale"),
                 right_column("log lik."),
                 right_column("off steps")};
    for (std::size_t i = 0; i < kCurveCount; ++i) {
      const CurveFit& fit = r_.curves.at(i);
      if (fit.status != FitStatus::converged) {
        t.rows.push_back({std::string(name(fit.kind)), "-", "-", "-", "-"});
        continue;
      }
      const CurveIntervals& ends = *r_.intervals.at(i);
      const std::optional<OnsetReport::Gap>& gap = r_.fit.at(i);
      t.rows.push_back(
          {std::string(name(fit.kind)),
           fmt::format("{:.3g} ({:.3g}-{:.3g})", fit.shape, ends.shape.low, ends.shape.high),
           fmt::format("{} ({}-{})", place(fit.scale), place(ends.scale.low),
                       place(ends.scale.high)),
           fmt::format("{:.2f}", fit.log_likelihood),
           gap ? fmt::format("{:.2f} at {}", gap->largest, place(gap->at)) : "-"});
    }
    d_.emplace_back(std::move(t));
    for (std::size_t i = 0; i < kCurveCount; ++i) {
      const CurveFit& fit = r_.curves.at(i);
      const bool same = i > 0 && r_.curves.at(i - 1).status == fit.status;
      if (fit.status != FitStatus::converged && !same) {
        paragraph(fmt::format("{}: {}.", sentence_case(name(fit.kind)), explain(fit.status)));
      }
    }
    if (r_.best) {
      std::string outside;
      for (std::size_t i = 0; i < kCurveCount; ++i) {
        if (r_.fit.at(i) && !r_.fit.at(i)->inside) {
          outside += fmt::format("{}{}", outside.empty() ? "" : ", ", name(r_.curves.at(i).kind));
        }
      }
      paragraph(fmt::format(
          "In brackets: 95 % by profile likelihood. Off steps: the largest difference from the "
          "steps below. Shape: how steeply the Weibull or log-logistic curve rises; for the "
          "lognormal curve, the spread of log {0}. Scale: 63 % leak by then (Weibull), or half "
          "(the others). {1}",
          axis_word(),
          r_.steps.resamples == 0 ? std::string()
          : outside.empty()
              ? std::string("All curves stay within the 95 % intervals of the steps.")
              : fmt::format("Outside the 95 % intervals of the steps somewhere: {}.", outside)));
    }
  }

  void groups() {
    if (r_.regressions.empty()) {
      return;
    }
    heading(fmt::format("By {}", r_.data.by));
    const OnsetRegression& w = r_.regressions.front();
    if (w.status != FitStatus::converged) {
      paragraph(w.groups.size() < 2 && !w.numeric
                    ? fmt::format("There are fewer than two groups with a known {}.", r_.data.by)
                    : fmt::format("No comparison: {}{}.", explain(w.status),
                                  w.unbounded.empty() ? "" : fmt::format(" ({})", w.unbounded)));
    } else {
      Table t;
      t.columns = {text_column(r_.data.by),
                   right_column(r_.data.axis == OnsetAxis::plain ? "units" : "seals"),
                   right_column("scale"), right_column("lasts, against the first")};
      constexpr double kTwoSided95 = 1.959963984540054;
      for (const OnsetRegression::Group& g : w.groups) {
        const double far = kTwoSided95 * g.se_log_factor;
        t.rows.push_back({g.name, count_of(g.count), three(g.scale),
                          g.se_log_factor > 0 ? fmt::format("{:.2f} times ({:.2f} to {:.2f})",
                                                            g.factor, std::exp(g.log_factor - far),
                                                            std::exp(g.log_factor + far))
                                              : "1"});
      }
      d_.emplace_back(std::move(t));
      std::string tests;
      for (const OnsetRegression& g : r_.regressions) {
        if (g.status == FitStatus::converged) {
          tests += fmt::format("{}{} {:.2f}, p = {:.2g}", tests.empty() ? "" : "; ", name(g.kind),
                               g.ratio, g.p_value);
        }
      }
      paragraph(fmt::format(
          "The groups have Weibull curves of one shape; their {} differs by a factor (accelerated "
          "failure time). In brackets: 95 % by normal approximation. Likelihood-ratio test of no "
          "difference, {}: {}. {}",
          axis_word(),
          words::count(static_cast<std::size_t>(w.degrees), "degree", "degrees") + " of freedom",
          tests,
          w.p_value < 0.05 ? "The groups differ by more than chance."
                           : "The difference may be chance."));
    }
    if (w.count_without_group > 0) {
      paragraph(fmt::format("Left out here: {} more, of unknown {}.",
                            count_of(w.count_without_group), r_.data.by));
    }
  }

  void steps() {
    if (r_.steps.steps.empty()) {
      return;
    }
    heading("Steps: the data, with no curve assumed");
    Table t;
    t.columns = {right_column("after"), right_column("by"), right_column("begin there"),
                 right_column("leak by then"), right_column("95 %")};
    const std::vector<StepEstimate::Step>& all = r_.steps.steps;
    const std::size_t n = std::min(all.size(), kListedSteps);
    for (std::size_t k = 0; k < n; ++k) {
      const StepEstimate::Step& s = all[n < 2 ? k : k * (all.size() - 1) / (n - 1)];
      const bool open = !std::isfinite(s.right);
      t.rows.push_back({at(s.left), open ? "later" : at(s.right), chance(s.probability),
                        open ? "" : chance(s.below),
                        open || r_.steps.resamples == 0 ? "" : chances(s.below_95)});
    }
    d_.emplace_back(std::move(t));
    paragraph(fmt::format(
        "The data do not show where within a step leaks begin.{}{}",
        n < all.size() ? fmt::format(" {} of {} steps are shown.", n, all.size()) : "",
        r_.steps.resamples > 0
            ? fmt::format(" The intervals come from {} resamplings of the units and are rough.",
                          r_.steps.resamples)
            : ""));
  }

  void left_out() {
    if (r_.data.left_out.empty()) {
      return;
    }
    heading("Left out");
    struct Reason {
      std::size_t count = 0;
      std::string text;
      std::vector<std::string> where;
    };
    std::map<std::pair<std::string, std::string>, Reason> reasons;
    for (const OnsetLeftOut& l : r_.data.left_out) {
      Reason& r = reasons[{l.what, l.id}];
      ++r.count;
      r.text = l.reason;
      if (!l.unit.empty() && r.where.size() < kListedUnits) {
        r.where.push_back(s_.sources.size() == 1
                              ? fmt::format("{} (line {})", l.unit, l.line)
                              : fmt::format("{} ({}:{})", l.unit, l.source, l.line));
      }
    }
    for (const auto& [what, r] : reasons) {
      const std::string left = what.first == "look" ? "port check" : what.first;
      item(fmt::format("{}: {}{}{}{}", words::count(r.count, left, left + "s"), r.text,
                       r.where.empty() ? "" : ": ", fmt::join(r.where, ", "),
                       !r.where.empty() && r.count > r.where.size()
                           ? fmt::format(", and {} more", r.count - r.where.size())
                           : ""));
    }
  }

  void limits() {
    heading("What these numbers cannot show");
    for (const std::string& l : r_.limits) {
      item(l);
    }
  }

  void basis() {
    heading("Basis of these numbers");
    paragraph(fmt::format("{}. {} {}{}. Screening aid: a technician decides.",
                          s_.sources.empty() ? std::string("Records that are not named")
                                             : fmt::format("{}", fmt::join(s_.sources, ", ")),
                          kToolName, DRYSHAFT_VERSION,
                          r_.data.axis == OnsetAxis::plain
                              ? ""
                              : fmt::format("; rules {} {}", s_.rules_id, s_.rules_version)));
  }

  const OnsetSheet& s_;
  const OnsetReport& r_;
};

}  // namespace

std::string shown_at(OnsetAxis axis, double at) {
  if (axis == OnsetAxis::km) {
    return words::distance(at, Units::km);
  }
  return axis == OnsetAxis::years ? fmt::format("{:g} years", words::rounded(at, 1))
                                  : fmt::format("{:.6g}", at);
}

std::string axis_title(OnsetAxis axis) {
  return axis == OnsetAxis::km      ? "distance of the seal"
         : axis == OnsetAxis::years ? "age of the seal"
                                    : "the numbers of a table";
}

document::Description describe_onset(const OnsetSheet& sheet) {
  return OnsetDescriber(sheet).describe();
}

}  // namespace dryshaft::onset

namespace dryshaft {
namespace {

document::Document whole_of(const OnsetSheet& sheet) {
  document::Description d = onset::describe_onset(sheet);
  document::Document all = std::move(d.answer);
  std::ranges::move(d.rest, std::back_inserter(all));
  return all;
}

}  // namespace

std::string onset_to_text(const OnsetSheet& sheet, const TextStyle& style) {
  return document::in_text(whole_of(sheet), style);
}

std::string onset_to_markdown(const OnsetSheet& sheet) {
  return document::in_markdown(whole_of(sheet));
}

}  // namespace dryshaft
