// The study as a page, with a reliability diagram for each thing that was said.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <utility>
#include <vector>

#include "dryshaft/outcomes.hpp"
#include "outcomes/describe.hpp"
#include "report/markup.hpp"
#include "report/render.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

constexpr std::string_view kOutcomesStyle =
#include "outcomes/outcomes.css.inc"
    ;

// In units of the picture, which is nearly as wide as a phone's screen.
constexpr double kWide = 300;
constexpr double kLeft = 40;
constexpr double kTop = 14;
constexpr double kSide = 240;  // of the square
constexpr double kBottom = kTop + kSide;
constexpr double kHigh = kBottom + 36;
constexpr int kGridLines = 4;

// A point for each bin: across what was said, up how often it was found.
class Diagram {
 public:
  explicit Diagram(const Score& score) : s_(score) {}

  std::string draw() {
    add("<figure>\n<figcaption>{}</figcaption>\n<svg viewBox=\"0 0 {} {}\" role=\"img\" "
        "aria-label=\"{}\">\n",
        markup::escaped_content(outcomes::short_name(s_)), kWide, kHigh,
        markup::escaped(in_words()));
    axes();
    for (const ReliabilityBin& b : s_.table) {
      point(b);
    }
    counts();
    add("</svg>\n</figure>\n");
    return std::move(out_);
  }

 private:
  template <typename... Args>
  void add(fmt::format_string<Args...> format, Args&&... args) {
    fmt::format_to(std::back_inserter(out_), format, std::forward<Args>(args)...);
  }
  static double across(double p) { return kLeft + p * kSide; }
  static double up(double p) { return kBottom - p * kSide; }
  static double found(const ReliabilityBin& b) {
    return static_cast<double>(b.happened) / static_cast<double>(b.count);
  }

  void axes() {
    for (int i = 0; i <= kGridLines; ++i) {
      const double p = static_cast<double>(i) / kGridLines;
      add("<line class=\"grid\" x1=\"{0:.1f}\" x2=\"{0:.1f}\" y1=\"{1}\" y2=\"{2}\"/>\n", across(p),
          kTop, kBottom);
      add("<line class=\"grid\" x1=\"{0}\" x2=\"{1}\" y1=\"{2:.1f}\" y2=\"{2:.1f}\"/>\n", kLeft,
          kLeft + kSide, up(p));
      add("<text x=\"{:.1f}\" y=\"{}\" text-anchor=\"middle\">{:.0f}</text>\n", across(p),
          kBottom + 14, p * 100);
      add("<text x=\"{}\" y=\"{:.1f}\" text-anchor=\"end\">{:.0f}</text>\n", kLeft - 5, up(p) + 4,
          p * 100);
    }
    add("<line class=\"agree\" x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\"/>\n", across(0), up(0),
        across(1), up(1));
    add("<text x=\"{:.1f}\" y=\"{}\" text-anchor=\"middle\">said, %</text>\n", across(0.5),
        kBottom + 30);
    add("<text x=\"12\" y=\"{0:.1f}\" text-anchor=\"middle\" transform=\"rotate(-90 12 "
        "{0:.1f})\">found, %</text>\n",
        up(0.5));
  }

  void point(const ReliabilityBin& b) {
    constexpr double kLeastRadius = 3;
    constexpr double kMostMore = 5;
    const double weight = static_cast<double>(b.count) / static_cast<double>(s_.count);
    add("<line class=\"spread\" x1=\"{0:.1f}\" x2=\"{0:.1f}\" y1=\"{1:.1f}\" y2=\"{2:.1f}\"/>\n",
        across(b.mean), up(b.found.low), up(b.found.high));
    add("<circle class=\"said\" cx=\"{:.1f}\" cy=\"{:.1f}\" r=\"{:.1f}\"/>\n", across(b.mean),
        up(found(b)), kLeastRadius + kMostMore * std::sqrt(weight));
  }

  // How many units a point stands for, beside it and over all points; where
  // there is no room, the table alone says it.
  void counts() {
    constexpr double kRoomWide = 15;
    constexpr double kRoomHigh = 11;
    constexpr std::pair<double, double> kPlaces[] = {{8, 4}, {8, -7}, {8, -18}, {-19, -7}};
    std::vector<std::pair<double, double>> taken;
    for (const ReliabilityBin& b : s_.table) {
      for (const auto& [right, down] : kPlaces) {
        const double x = across(b.mean) + right;
        const double y = std::clamp(up(found(b)) + down, kTop + 10, kBottom - 3);
        const bool free = std::ranges::none_of(taken, [&](const auto& t) {
          return std::abs(t.first - x) < kRoomWide && std::abs(t.second - y) < kRoomHigh;
        });
        if (free) {
          taken.emplace_back(x, y);
          add("<text class=\"count\" x=\"{:.1f}\" y=\"{:.1f}\">{}</text>\n", x, y, b.count);
          break;
        }
      }
    }
  }

  // What the picture shows, for who cannot see it.
  [[nodiscard]] std::string in_words() const {
    std::string text = fmt::format("Reliability diagram, {}:", outcomes::short_name(s_));
    for (const ReliabilityBin& b : s_.table) {
      text += fmt::format(" said {} on average, found in {} of {}.", words::percent(b.mean),
                          b.happened, b.count);
    }
    return text;
  }

  const Score& s_;
  std::string out_;
};

}  // namespace

std::string outcomes_to_html(const Outcomes& outcomes) {
  const document::Description d = outcomes::describe_outcomes(outcomes);
  std::string body = "<main>\n" + document::in_html(d.answer);
  if (!outcomes.scores.empty()) {
    body +=
        "<h2>Said and found, as pictures</h2>\n"
        "<p>Each point stands for the units with about the same probability, with their number; "
        "its line is the 95 % interval. On the dashed line, said and found agree. Below it the "
        "probability was too high, above it too low.</p>\n"
        "<div class=\"diagrams\">\n";
    for (const Score& s : outcomes.scores) {
      body += Diagram(s).draw();
    }
    body += "</div>\n";
  }
  body += document::in_html(d.rest) + "</main>\n";
  return markup::whole({.title = outcomes::answer_of(outcomes),
                        .style = std::string(kOutcomesStyle),
                        .body = std::move(body),
                        .script = {},
                        .data = {}});
}

}  // namespace dryshaft
