// Reports on recordings as a page, with the order map and the spectra drawn.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <string>
#include <string_view>
#include <vector>

#include "base/sentence.hpp"
#include "dryshaft/noise_report.hpp"
#include "noise/describe.hpp"
#include "report/markup.hpp"
#include "report/render.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

using markup::escaped;

constexpr std::string_view kNoiseStyle =
#include "noise/noise.css.inc"
    ;

// In units of the picture, which is as wide as a phone's screen.
constexpr double kPictureWide = 360;
constexpr double kPlotLeft = 34;
constexpr double kPlotRight = 346;  // half a number stands to its right
constexpr double kPlotWide = kPlotRight - kPlotLeft;
constexpr double kPlotTop = 40;  // room for three rows of labels
constexpr double kCurveHigh = 150;
constexpr double kMapHigh = 190;
constexpr double kBelow = 34;  // axis and its name

constexpr std::size_t kMapColumns = 212;
constexpr std::size_t kMapRows = 96;
constexpr std::size_t kCurvePoints = 636;
constexpr std::size_t kShades = 8;  // the lowest is the paper
constexpr std::size_t kLabelRows = 3;
constexpr double kLabelRow = 11;        // high
constexpr std::size_t kMostKnown = 14;  // known lines that a picture labels
constexpr std::size_t kMostMultiples = 12;
constexpr std::size_t kListedLines = 40;

struct PictureMark {
  double order = 0;
  std::string label;
  bool named = true;  // else a known line, with its number in the table
};

double finite(float level) { return std::isfinite(level) ? static_cast<double>(level) : 0; }

// `values` in at most `most` columns, each the greatest of its share.
std::vector<double> peaks(const std::vector<float>& values, std::size_t most) {
  const std::size_t n = std::min(values.size(), most);
  std::vector<double> out(n, 0);
  for (std::size_t i = 0; i < n; ++i) {
    const std::size_t begin = i * values.size() / n;
    const std::size_t end = (i + 1) * values.size() / n;
    out[i] = finite(values[begin]);
    for (std::size_t k = begin + 1; k < end; ++k) {
      out[i] = std::max(out[i], finite(values[k]));
    }
  }
  return out;
}

class Pictures {
 public:
  explicit Pictures(const NoiseReport& report) : r_(report) {}

  std::string draw() {
    map();
    curve(r_.order_spectrum, "Order spectrum", "Level over the noise around it, by order", false);
    const std::string band = r_.envelope_high_hz > 0 ? fmt::format("Envelope spectrum, {} to {} Hz",
                                                                   grouped(r_.envelope_low_hz),
                                                                   grouped(r_.envelope_high_hz))
                                                     : std::string("Envelope spectrum");
    curve(r_.envelope_spectrum, band,
          "Level over the noise around it, by order of what swells and fades", true);
    return std::move(out_);
  }

 private:
  template <typename... Args>
  void add(fmt::format_string<Args...> format, Args&&... args) {
    fmt::format_to(std::back_inserter(out_), format, std::forward<Args>(args)...);
  }

  // Named parts and their multiples, then what else is known, strongest first.
  [[nodiscard]] std::vector<PictureMark> marks(bool envelope, double highest) const {
    std::vector<PictureMark> marks;
    for (std::size_t i = 0; i < r_.named.size(); ++i) {
      const Attribution& a = r_.named[i];
      if ((a.band_high_hz > 0) != envelope) {
        continue;
      }
      const std::size_t multiples =
          std::clamp<std::size_t>(a.lines + a.excluded.size(), 1, kMostMultiples);
      for (std::size_t k = 1; k <= multiples; ++k) {
        const double at = a.found_order * static_cast<double>(k);
        if (at <= highest) {
          marks.push_back(
              {at, k == 1 ? noise::letter(i) : fmt::format("{}×{}", noise::letter(i), k), true});
        }
      }
    }
    std::size_t known = 0;
    for (std::size_t i = 0; i < std::min(r_.lines.size(), kListedLines); ++i) {
      const NoiseLine& l = r_.lines[i];
      const bool marked = std::ranges::any_of(marks, [&](const PictureMark& m) {
        constexpr double kNear = 0.005;
        return std::abs(m.order - l.order) <= kNear * l.order;
      });
      if (l.in_envelope == envelope && !l.fits.empty() && !marked && l.order <= highest &&
          known < kMostKnown) {
        ++known;
        marks.push_back({l.order, fmt::format("{}", i + 1), false});
      }
    }
    return marks;
  }

  struct Labels {
    std::string drawn;
    std::size_t rows = 1;
  };
  // Labels above the plot; one that finds no room leaves its line without a name.
  static Labels labels(const std::vector<PictureMark>& marks, double highest, double bottom) {
    constexpr double kDigit = 6.2;
    constexpr double kGap = 3;
    Labels all;
    std::string names;  // over all lines
    std::array<std::vector<std::pair<double, double>>, kLabelRows> taken;
    for (const PictureMark& m : marks) {
      const double x = kPlotLeft + m.order / highest * kPlotWide;
      // The multiplication sign is two bytes and one column.
      const bool multiple = m.label.find("×") != std::string::npos;
      const double half =
          kDigit * static_cast<double>(m.label.size() - (multiple ? 1 : 0)) / 2 + kGap / 2;
      double top = kPlotTop;
      for (std::size_t row = 0; row < kLabelRows; ++row) {
        const bool free = std::ranges::none_of(
            taken[row], [&](const auto& t) { return x - half < t.second && t.first < x + half; });
        if (free) {
          all.rows = std::max(all.rows, row + 1);
          taken[row].emplace_back(x - half, x + half);
          top = kPlotTop - 4 - kLabelRow * static_cast<double>(row);
          fmt::format_to(std::back_inserter(names),
                         "<text class=\"{}\" x=\"{:.1f}\" y=\"{:.1f}\" "
                         "text-anchor=\"middle\">{}</text>\n",
                         m.named ? "mark" : "known", x, top, escaped(m.label));
          top += 1.5;
          break;
        }
      }
      fmt::format_to(
          std::back_inserter(all.drawn),
          "<line class=\"marked\" x1=\"{0:.1f}\" x2=\"{0:.1f}\" y1=\"{1:.1f}\" y2=\"{2:.1f}\"/>\n",
          x, top, m.named ? bottom : kPlotTop + 4);
    }
    all.drawn += names;
    return all;
  }

  // The picture's head, and its labels, which say how much room they need above the plot.
  void head(const Labels& labels, double bottom, std::string_view told) {
    const double top = kLabelRow * static_cast<double>(kLabelRows - labels.rows);
    add("<figure>\n<svg viewBox=\"0 {} {} {}\" role=\"img\" aria-label=\"{}\">\n{}", top,
        kPictureWide, bottom - top, escaped(told), labels.drawn);
  }

  void order_axis(double highest, double bottom) {
    const double step = words::round_step(highest, 6);
    for (double at = 0; at <= highest * (1 + 1e-9); at += step) {
      const double x = kPlotLeft + at / highest * kPlotWide;
      add("<text x=\"{:.1f}\" y=\"{:.1f}\" text-anchor=\"middle\">{:g}</text>\n", x, bottom + 12,
          words::rounded(at, 4));
    }
    add("<text x=\"{}\" y=\"{:.1f}\" text-anchor=\"end\">order of the {}</text>\n", kPlotRight,
        bottom + 25, r_.plain_bearings ? "shaft" : "rotor");
  }

  // What the marks are, for who cannot see them.
  [[nodiscard]] std::string told(const std::vector<PictureMark>& marks, bool envelope) const {
    std::string text;
    for (std::size_t i = 0; i < r_.named.size(); ++i) {
      const Attribution& a = r_.named[i];
      if ((a.band_high_hz > 0) == envelope) {
        text += fmt::format(" {} at order {}: {}.", noise::letter(i),
                            noise::shown_order(a.found_order), noise::phrase(a));
      }
    }
    const auto known = std::ranges::count(marks, false, &PictureMark::named);
    if (known > 0) {
      text += " Numbers: lines of the table of strongest lines.";
    }
    return text;
  }

  void caption(std::string_view text) { add("<figcaption>{}</figcaption>\n", escaped(text)); }

  void curve(const OrderCurve& curve, std::string_view title, std::string_view what,
             bool envelope) {
    if (curve.level_db.size() < 2 || !(curve.order_spacing > 0)) {
      return;
    }
    const std::vector<double> levels = peaks(curve.level_db, kCurvePoints);
    const double highest = curve.order_spacing * static_cast<double>(curve.level_db.size());
    constexpr double kLeastRange = 10;
    const double step =
        words::round_step(std::max(kLeastRange, *std::ranges::max_element(levels)), 5);
    const double range =
        std::ceil(std::max(kLeastRange, *std::ranges::max_element(levels)) / step) * step;
    const double bottom = kPlotTop + kCurveHigh;
    const std::vector<PictureMark> marks = this->marks(envelope, highest);
    const std::string telling = told(marks, envelope);
    add("<h2>{}</h2>\n", escaped(title));
    head(labels(marks, highest, bottom), bottom + kBelow,
         fmt::format("{}: {}, 0 to {:.1f}.{}", title, what, highest, telling));
    for (double at = 0; at <= range * (1 + 1e-9); at += step) {
      const double y = bottom - at / range * kCurveHigh;
      add("<line class=\"grid\" x1=\"{0}\" x2=\"{1}\" y1=\"{2:.1f}\" y2=\"{2:.1f}\"/>"
          "<text x=\"{3}\" y=\"{4:.1f}\" text-anchor=\"end\">{5:g}</text>\n",
          kPlotLeft, kPlotRight, y, kPlotLeft - 4, y + 3.5, words::rounded(at, 4));
    }
    add("<text x=\"2\" y=\"{:.1f}\">dB</text>\n", kPlotTop - 10);
    add("<path class=\"curve\" d=\"");
    for (std::size_t i = 0; i < levels.size(); ++i) {
      const double at = (static_cast<double>(i) + 0.5) / static_cast<double>(levels.size());
      add("{}{:.1f} {:.1f}", i == 0 ? 'M' : 'L', kPlotLeft + at * kPlotWide,
          bottom - std::clamp(levels[i] / range, 0.0, 1.0) * kCurveHigh);
    }
    add("\"/>\n");
    order_axis(highest, bottom);
    add("</svg>\n");
    caption(fmt::format("{}.{}", what, telling));
    add("</figure>\n");
  }

  void map() {
    const OrderMap& map = r_.map;
    if (map.level_db.empty() || map.level_db.front().empty() ||
        map.seconds.size() != map.level_db.size() || !(map.order_spacing > 0)) {
      return;
    }
    const std::vector<std::vector<double>> cells = map_cells();
    const std::size_t columns = cells.front().size();
    std::vector<double> all;
    all.reserve(cells.size() * columns);
    for (const std::vector<double>& row : cells) {
      all.insert(all.end(), row.begin(), row.end());
    }
    const auto middle = all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2);
    std::ranges::nth_element(all, middle);
    const double base = std::floor(*middle);
    constexpr double kLeastStep = 2;
    const double step =
        std::max(kLeastStep, std::ceil((*std::ranges::max_element(all) - base) / kShades));
    const double highest = map.order_spacing * static_cast<double>(map.level_db.front().size());
    const double bottom = kPlotTop + kMapHigh;
    constexpr double kLegend = 28;
    const std::vector<PictureMark> marks = this->marks(false, highest);
    const std::string telling = told(marks, false);
    add("<h2>Order map</h2>\n");
    head(labels(marks, highest, kPlotTop + 4), bottom + kBelow + kLegend,
         fmt::format(
             "Order map: level over the noise, order 0 to {:.1f} across, time from {:.1f} to "
             "{:.1f} s downwards. Lines that keep their order stand upright.{}",
             highest, map.seconds.front(), map.seconds.back(), telling));
    shades(cells, base, step);
    add("<rect class=\"box\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>\n", kPlotLeft, kPlotTop,
        kPlotWide, kMapHigh);
    time_axis();
    order_axis(highest, bottom);
    legend(base, step, bottom + kBelow + 4);
    add("</svg>\n");
    caption(
        "Across: order; downwards: time; darker: louder (in dark colours: lighter). What turns "
        "with the drive unit stands upright; what does not, slants." +
        telling);
    add("</figure>\n");
  }

  // Fewer rows and columns, each the greatest of its share.
  [[nodiscard]] std::vector<std::vector<double>> map_cells() const {
    const auto& rows = r_.map.level_db;
    const std::size_t n = std::min(rows.size(), kMapRows);
    std::vector<std::vector<double>> cells(n);
    for (std::size_t i = 0; i < n; ++i) {
      const std::size_t end = (i + 1) * rows.size() / n;
      for (std::size_t k = i * rows.size() / n; k < end; ++k) {
        std::vector<double> row = peaks(rows[k], kMapColumns);
        row.resize(std::min(rows.front().size(), kMapColumns), 0);
        if (cells[i].empty()) {
          cells[i] = std::move(row);
        } else {
          std::ranges::transform(cells[i], row, cells[i].begin(),
                                 [](double a, double b) { return std::max(a, b); });
        }
      }
    }
    return cells;
  }

  // One path a shade: runs of cells along the rows.
  void shades(const std::vector<std::vector<double>>& cells, double base, double step) {
    const std::size_t columns = cells.front().size();
    std::array<std::string, kShades> paths;
    for (std::size_t row = 0; row < cells.size(); ++row) {
      std::array<bool, kShades> in_row{};
      std::array<std::size_t, kShades> at{};
      for (std::size_t c = 0; c < columns;) {
        const std::size_t shade = shade_of(cells[row][c], base, step);
        std::size_t end = c + 1;
        while (end < columns && shade_of(cells[row][end], base, step) == shade) {
          ++end;
        }
        if (shade > 0) {
          std::string& path = paths[shade];
          // Within a row a move is relative, which is shorter.
          path +=
              in_row[shade] ? fmt::format("m{} 0", c - at[shade]) : fmt::format("M{} {}", c, row);
          path += fmt::format("h{}", end - c);
          in_row[shade] = true;
          at[shade] = end;
        }
        c = end;
      }
    }
    add("<svg x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" viewBox=\"0 -.5 {} {}\" "
        "preserveAspectRatio=\"none\" shape-rendering=\"crispEdges\" class=\"cells\">\n",
        kPlotLeft, kPlotTop, kPlotWide, kMapHigh, columns, cells.size());
    for (std::size_t shade = 1; shade < kShades; ++shade) {
      if (!paths[shade].empty()) {
        add("<path class=\"s{}\" d=\"{}\"/>\n", shade, paths[shade]);
      }
    }
    add("</svg>\n");
  }

  static std::size_t shade_of(double level, double base, double step) {
    const double shade = std::floor((level - base) / step);
    return static_cast<std::size_t>(std::clamp(shade, 0.0, static_cast<double>(kShades - 1)));
  }

  void time_axis() {
    const std::vector<double>& s = r_.map.seconds;
    const auto rows = static_cast<double>(s.size());
    const double spacing = s.size() > 1 ? (s.back() - s.front()) / (rows - 1) : 1;
    const double begin = s.front() - spacing / 2;
    const double range = spacing * rows;
    const double step = words::round_step(range, 6);
    for (double at = std::ceil(begin / step) * step; at <= begin + range; at += step) {
      add("<text x=\"{}\" y=\"{:.1f}\" text-anchor=\"end\">{:g}</text>\n", kPlotLeft - 4,
          kPlotTop + (at - begin) / range * kMapHigh + 3.5, words::rounded(at, 3) + 0.0);
    }
    add("<text x=\"2\" y=\"{:.1f}\">s</text>\n", kPlotTop - 10);
  }

  void legend(double base, double step, double top) {
    constexpr double kWide = 28;
    constexpr double kHigh = 9;
    const double left = kPlotLeft + 30;
    add("<text x=\"{}\" y=\"{:.1f}\">dB</text>\n", kPlotLeft, top + kHigh);
    for (std::size_t i = 0; i < kShades; ++i) {
      const double x = left + kWide * static_cast<double>(i);
      add("<rect class=\"s{}\" x=\"{:.0f}\" y=\"{:.1f}\" width=\"{}\" height=\"{}\"/>", i, x, top,
          kWide, kHigh);
      if (i > 0) {
        add("<text x=\"{:.0f}\" y=\"{:.1f}\" text-anchor=\"middle\">{:g}</text>\n", x,
            top + kHigh + 11, base + step * static_cast<double>(i));
      }
    }
    add("<rect class=\"box\" x=\"{:.0f}\" y=\"{:.1f}\" width=\"{}\" height=\"{}\"/>\n", left, top,
        kWide * kShades, kHigh);
  }

  const NoiseReport& r_;
  std::string out_;
};

}  // namespace

std::string noise_to_html(std::span<const NoiseSheet> sheets) {
  std::string body = "<main>\n";
  for (const NoiseSheet& sheet : sheets) {
    const document::Description d = noise::describe_recording(sheet, kListedLines);
    const std::string part =
        sheets.size() == 1 ? std::string() : fmt::format("recording {}", &sheet - &sheets[0] + 1);
    body += fmt::format("<article>\n{}{}{}</article>\n", document::in_html(d.answer, part),
                        Pictures(sheet.report).draw(), document::in_html(d.rest, part));
  }
  body += "</main>\n";
  return markup::whole({.title = sheets.size() == 1
                                     ? fmt::format("Recording {}", sheets.front().source)
                                     : words::count(sheets.size(), "recording", "recordings"),
                        .style = std::string(kNoiseStyle),
                        .body = std::move(body),
                        .script = {},
                        .data = {}});
}

}  // namespace dryshaft
