// The report on onsets as a page, with steps, curve and bands drawn.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <string>

#include "onset/describe.hpp"
#include "report/markup.hpp"
#include "report/render.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

constexpr std::string_view kOnsetStyle =
#include "onset/onset.css.inc"
    ;

// In units of the picture, which is as wide as a phone's screen.
constexpr double kWide = 360;
constexpr double kLeft = 34;
constexpr double kRight = 350;
constexpr double kTop = 14;
constexpr double kBottom = 214;
constexpr double kHigh = 246;  // axis and its name below
constexpr int kCurveSteps = 80;

class OnsetPicture {
 public:
  explicit OnsetPicture(const OnsetReport& report) : r_(report) {}

  std::string draw() {
    last_ = range();
    if (!(last_ > 0)) {
      return {};
    }
    const std::string told = this->told();
    add("<figure>\n<svg viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{}\">\n", kWide, kHigh,
        markup::escaped(told));
    axes();
    steps();
    curve();
    add("</svg>\n<figcaption>{}</figcaption>\n</figure>\n", markup::escaped(told));
    return std::move(out_);
  }

 private:
  template <typename... Args>
  void add(fmt::format_string<Args...> format, Args&&... args) {
    fmt::format_to(std::back_inserter(out_), format, std::forward<Args>(args)...);
  }
  [[nodiscard]] double x(double at) const {
    return kLeft + std::min(at, last_) / last_ * (kRight - kLeft);
  }
  static double y(double probability) {
    return kBottom - std::clamp(probability, 0.0, 1.0) * (kBottom - kTop);
  }

  // To the last place that was looked at, and a little on.
  [[nodiscard]] double range() const {
    double last = 0;
    for (const OnsetInterval& i : r_.data.intervals) {
      last = std::max({last, i.left, std::isfinite(i.right) ? i.right : 0});
    }
    constexpr double kOn = 1.06;
    return last * kOn;
  }

  [[nodiscard]] std::string told() const {
    std::string text = fmt::format(
        "Share of seals that have begun to leak, by {}. Red: the steps of the data alone, shaded "
        "where the data leave them open{}.",
        onset::axis_title(r_.data.axis),
        r_.steps.resamples > 0 ? ", with 95 % intervals upright" : "");
    if (r_.joined) {
      text += " Blue: estimate and data together, with a 95 % band; dashed: the estimate alone.";
    } else if (r_.best) {
      text +=
          fmt::format(" Blue: the {} curve, which fits best, with 95 % intervals.", name(*r_.best));
    }
    return text;
  }

  void axes() {
    constexpr double kFifth = 0.2;
    for (int i = 0; i <= 5; ++i) {
      add("<line class=\"grid\" x1=\"{0}\" x2=\"{1}\" y1=\"{2:.1f}\" y2=\"{2:.1f}\"/>"
          "<text x=\"{3}\" y=\"{4:.1f}\" text-anchor=\"end\">{5}{6}</text>\n",
          kLeft, kRight, y(kFifth * i), kLeft - 4, y(kFifth * i) + 3.5, 20 * i, i == 5 ? " %" : "");
    }
    const bool km = r_.data.axis == OnsetAxis::km;
    const double step = words::round_step(last_, 6);
    for (double at = 0; at <= last_ && at + step > at; at += step) {  // a step may vanish
      add("<text x=\"{:.1f}\" y=\"{}\" text-anchor=\"middle\">{}</text>\n", x(at), kBottom + 13,
          km ? fmt::format("{:g}", at / 1000) : fmt::format("{:g}", at));
    }
    add("<text x=\"{}\" y=\"{}\" text-anchor=\"end\">{}</text>\n", kRight, kBottom + 27,
        km                                 ? "thousand km on the seal"
        : r_.data.axis == OnsetAxis::years ? "years on the seal"
                                           : "as in the table");
  }

  void steps() {
    double below = 0;
    double from = 0;
    std::string boxes;
    std::string line;
    std::string errors;
    for (const StepEstimate::Step& s : r_.steps.steps) {
      // Flat up to the step; within it the data leave open where it rises.
      const double right = std::min(s.right, last_);
      fmt::format_to(std::back_inserter(line), "M{:.1f} {:.1f}H{:.1f}", x(from), y(below),
                     x(s.left));
      if (!std::isfinite(s.right)) {
        fmt::format_to(std::back_inserter(line), "H{:.1f}", x(last_));
        break;
      }
      fmt::format_to(std::back_inserter(boxes),
                     "<rect class=\"onset-box\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" "
                     "height=\"{:.1f}\"/>\n",
                     x(s.left), y(s.below), std::max(0.6, x(right) - x(s.left)),
                     y(below) - y(s.below));
      if (r_.steps.resamples > 0) {
        fmt::format_to(std::back_inserter(errors),
                       "<line class=\"onset-error\" x1=\"{0:.1f}\" x2=\"{0:.1f}\" y1=\"{1:.1f}\" "
                       "y2=\"{2:.1f}\"/>\n",
                       x(right), y(s.below_95.low), y(s.below_95.high));
      }
      below = s.below;
      from = s.right;
    }
    if (!r_.steps.steps.empty() && std::isfinite(r_.steps.steps.back().right)) {
      fmt::format_to(std::back_inserter(line), "M{:.1f} {:.1f}H{:.1f}", x(from), y(below),
                     x(last_));
    }
    out_ += boxes + errors;
    if (!line.empty()) {
      add("<path class=\"onset-steps\" d=\"{}\"/>\n", line);
    }
  }

  template <typename Value>
  void path(std::string_view style, const Value& value) {
    add("<path class=\"{}\" d=\"", style);
    for (int i = 0; i <= kCurveSteps; ++i) {
      const double at = last_ * i / kCurveSteps;
      add("{}{:.1f} {:.1f}", i == 0 ? 'M' : 'L', x(at), y(value(at)));
    }
    add("\"/>\n");
  }

  // `ends`: low and high at some distances.
  void band(const std::vector<std::pair<double, Interval95>>& ends) {
    add("<path class=\"onset-band\" d=\"");
    for (std::size_t i = 0; i < ends.size(); ++i) {
      add("{}{:.1f} {:.1f}", i == 0 ? 'M' : 'L', x(ends[i].first), y(ends[i].second.high));
    }
    for (std::size_t i = ends.size(); i-- > 0;) {
      add("L{:.1f} {:.1f}", x(ends[i].first), y(ends[i].second.low));
    }
    add("Z\"/>\n");
  }

  void curve() {
    std::vector<std::pair<double, Interval95>> ends = {{0, {0, 0}}};
    if (r_.joined) {
      const WeibullCloud& cloud = r_.joined->posterior;
      constexpr int kBandSteps = 32;
      for (int i = 1; i <= kBandSteps; ++i) {
        const double at = last_ * i / kBandSteps;
        ends.emplace_back(at, cloud.probability_at(at).range);
      }
      band(ends);
      path("onset-judgement", [&](double at) { return r_.joined->prior.probability(at); });
      path("onset-curve", [&](double at) { return cloud.probability(at); });
      return;
    }
    if (!r_.best) {
      return;
    }
    const auto i = static_cast<std::size_t>(*r_.best);
    const CurveFit& fit = r_.curves.at(i);
    for (std::size_t d = 0; d < r_.options.distances.size(); ++d) {
      if (r_.options.distances[d] <= last_) {
        ends.emplace_back(r_.options.distances[d], r_.intervals.at(i)->probability[d]);
      }
    }
    band(ends);
    path("onset-curve",
         [&](double at) { return curve_probability(fit.kind, fit.shape, fit.scale, at); });
  }

  const OnsetReport& r_;
  double last_ = 0;
  std::string out_;
};

}  // namespace

std::string onset_to_html(const OnsetSheet& sheet) {
  const document::Description d = onset::describe_onset(sheet);
  std::string body = fmt::format("<main>\n{}{}{}</main>\n", document::in_html(d.answer),
                                 OnsetPicture(sheet.report).draw(), document::in_html(d.rest));
  return markup::whole({.title = "When leaks begin",
                        .style = std::string(kOnsetStyle),
                        .body = std::move(body),
                        .script = {},
                        .data = {}});
}

}  // namespace dryshaft
