#include "report/life_line.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <limits>
#include <string_view>
#include <utility>

#include "base/sentence.hpp"
#include "dryshaft/record.hpp"
#include "report/markup.hpp"
#include "report/words.hpp"

namespace dryshaft::document {
namespace {

// In units of the picture.
constexpr double kWidth = 360;
constexpr double kFrom = 40;
constexpr double kTo = 336;
constexpr double kTopOfWork = 6;
constexpr double kTopOfChart = 40;
constexpr double kChartHigh = 72;
constexpr double kApart = 32;   // words that stand closer would touch
constexpr double kBeside = 15;  // and shapes

class Drawer {
 public:
  explicit Drawer(const LifeLine& line) : l_(line) {
    for (const LifeLine::Look& look : l_.looks) {
      take(look.at);
    }
    for (const double work : l_.works) {
      take(work);
    }
    if (l_.next) {
      take(*l_.next);
    }
    bottom_ = l_.leak.empty() ? kTopOfChart - 8 : kTopOfChart + kChartHigh;
  }

  std::string draw() {
    const double looks = bottom_ + 20;
    const double legend = looks + 66;
    add("<svg class=\"life\" viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{}\">\n", kWidth,
        legend + 30, markup::escaped(l_.told));
    chart();
    works();
    next(looks);
    for (const LifeLine::Look& look : l_.looks) {
      tip(look.tip, x(look.at), looks);
    }
    words(looks + 20);
    scale(looks + 48);
    key(legend);
    add("</svg>\n");
    return std::move(out_);
  }

 private:
  template <typename... Args>
  void add(fmt::format_string<Args...> format, Args&&... args) {
    fmt::format_to(std::back_inserter(out_), format, std::forward<Args>(args)...);
  }
  void text(std::string_view kind, double x, double y, std::string_view anchor,
            std::string_view words) {
    add("<text class=\"{}\" x=\"{:.1f}\" y=\"{:.1f}\" text-anchor=\"{}\">{}</text>\n", kind, x, y,
        anchor, markup::escaped(words));
  }

  void take(double at) {
    low_ = std::min(low_, at);
    high_ = std::max(high_, at);
  }
  [[nodiscard]] double range() const { return high_ > low_ ? high_ - low_ : 1; }
  [[nodiscard]] double x(double at) const { return kFrom + (at - low_) / range() * (kTo - kFrom); }
  [[nodiscard]] static double y(double chance) {
    return kTopOfChart + kChartHigh * (1 - std::clamp(chance, 0.0, 1.0));
  }

  // The chance of a leak, as a band from 0 up to it; what is to come has a broken edge.
  void chart() {
    if (l_.leak.empty()) {
      return;
    }
    text("axis", kFrom, kTopOfChart - 6, "start", "chance that the shaft seal leaks");
    for (const double share : {0.0, 0.5, 1.0}) {
      add("<line class=\"lane\" x1=\"{0}\" x2=\"{1}\" y1=\"{2:.1f}\" y2=\"{2:.1f}\"/>\n", kFrom,
          kTo, y(share));
      text("tick", kFrom - 4, y(share) + 4, "end", fmt::format("{:.0f}\u00A0%", share * 100));
    }
    const double today = l_.looks.empty() ? high_ : l_.looks.back().at;
    std::string past;
    std::string ahead;
    // The last point at today's distance is what today's look leaves.
    const auto last_now = std::find_if(l_.leak.rbegin(), l_.leak.rend(), [&](const LeakChance& p) {
                            return p.km <= today;
                          }).base();
    for (auto p = l_.leak.begin(); p != l_.leak.end(); ++p) {
      if (p->km < low_) {
        continue;
      }
      const std::string point = fmt::format("{:.1f},{:.1f} ", x(p->km), y(p->chance));
      if (p < last_now) {
        past += point;
      }
      if (p + 1 >= last_now) {
        ahead += point;
      }
    }
    band(past, "so-far");
    band(ahead, "ahead");
  }

  void band(const std::string& points, std::string_view kind) {
    const auto from = points.find(',');
    const auto last = points.rfind(' ', points.size() - 2);
    if (from == std::string::npos || last == std::string::npos) {
      return;  // a single point
    }
    const std::string_view all = points;
    const std::string_view last_x = all.substr(last + 1, all.find(',', last) - last - 1);
    add("<polygon class=\"band-of {0}\" points=\"{1}{2},{3:.1f} {4},{3:.1f}\"/>\n"
        "<polyline class=\"edge {0}\" points=\"{1}\"/>\n",
        kind, points, last_x, y(0), all.substr(0, from));
  }

  void works() {
    double free = 0;  // numbers that would stand on each other move to the right
    for (std::size_t i = 0; i < l_.works.size(); ++i) {
      const double at = x(l_.works[i]);
      add("<line class=\"event\" x1=\"{0:.1f}\" x2=\"{0:.1f}\" y1=\"{1}\" y2=\"{2}\"/>\n", at,
          kTopOfWork + 15, bottom_);
      const double box = std::max(at - 8, free);
      number(box, kTopOfWork, i + 1);
      free = box + 18;
    }
  }
  void number(double left, double top, std::size_t n) {
    add("<rect class=\"done\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"16\" height=\"15\" rx=\"2\"/>\n",
        left, top);
    if (n > 0) {
      text("done-name", left + 8, top + 11.5, "middle", fmt::format("{}", n));
    }
  }

  void next(double middle) {
    if (l_.next) {
      const double at = x(*l_.next);
      add("<line class=\"event\" x1=\"{0:.1f}\" x2=\"{0:.1f}\" y1=\"{1}\" y2=\"{2:.1f}\"/>\n", at,
          l_.leak.empty() ? bottom_ : kTopOfChart, l_.leak.empty() ? middle - 7 : bottom_);
      flag(l_.looks.empty() ? at : std::max(at, x(l_.looks.back().at) + kBeside), middle);
    }
  }
  void flag(double at, double middle) {
    add("<path class=\"next\" d=\"M{:.1f} {:.1f}h14l-7 13z\"/>\n", at - 7, middle - 7);
  }

  // Told apart by shape: a ring, a ring half full, a drop, a cross.
  void tip(LifeLine::Tip tip, double at, double middle) {
    switch (tip) {
      case LifeLine::Tip::not_seen:
        add("<path class=\"tip\" d=\"M{0:.1f} {1:.1f}l10 10m0 -10l-10 10\"/>\n", at - 5,
            middle - 5);
        break;
      case LifeLine::Tip::wet:
        add("<path class=\"tip full\" d=\"M{:.1f} {:.1f}q11 15 0 17q-11 -2 0 -17z\"/>\n", at,
            middle - 9);
        break;
      default:
        add("<circle class=\"tip\" cx=\"{:.1f}\" cy=\"{:.1f}\" r=\"6\"/>\n", at, middle);
        if (tip == LifeLine::Tip::film) {
          add("<path class=\"tip full\" d=\"M{:.1f} {:.1f}a6 6 0 0 0 12 0z\"/>\n", at - 6, middle);
        }
    }
  }

  // Below each look what it saw and its grade, from the newest back, where there is room.
  void words(double top) {
    std::vector<double> taken;
    const auto room = [&](double at) {
      return std::ranges::all_of(taken,
                                 [&](double other) { return std::abs(other - at) >= kApart; });
    };
    for (auto look = l_.looks.rbegin(); look != l_.looks.rend(); ++look) {
      const double at = x(look->at);
      if (room(at)) {
        taken.push_back(at);
        text("axis", at, top, "middle",
             look->tip == LifeLine::Tip::not_seen ? "-" : word(look->tip));
        add("<text class=\"at-grade {0}\" x=\"{1:.1f}\" y=\"{2:.1f}\" "
            "text-anchor=\"middle\">{0}</text>\n",
            name(look->grade), at, top + 13);
      }
    }
    if (l_.next && room(x(*l_.next))) {
      text("axis", x(*l_.next), top, "middle", "due");
    }
  }

  void scale(double top) {
    if (!l_.by_distance) {
      text("tick", kFrom, top, "start", date_text(static_cast<int>(low_)));
      text("tick", kTo, top, "end", date_text(static_cast<int>(high_)));
      return;
    }
    const double unit = l_.units == Units::mi ? kKmPerMile : 1;
    const double step = words::round_step(range() / unit, 4);
    // Readings may be so close that a step cannot be told from none.
    for (double at = std::ceil(low_ / unit / step) * step; at <= high_ / unit && at + step > at;
         at += step) {
      text("tick", x(at * unit), top, "middle", grouped(at));
    }
    text("axis", 0, top, "start", words::unit_name(l_.units));
  }

  // What each shape is.
  void key(double top) {
    constexpr double kColumns[] = {10, 72, 136, 200, 10, 160};
    using enum LifeLine::Tip;
    std::size_t n = 0;
    for (const LifeLine::Tip kind : {dry, film, wet, not_seen}) {
      tip(kind, kColumns[n], top);
      text("axis", kColumns[n] + 12, top + 4, "start", word(kind));
      ++n;
    }
    number(2, top + 11, 0);
    text("axis", 22, top + 23, "start", "work, by its number");
    flag(kColumns[5], top + 19);
    text("axis", kColumns[5] + 12, top + 23, "start", "recheck due");
  }

  const LifeLine& l_;
  double low_ = std::numeric_limits<double>::infinity();
  double high_ = -std::numeric_limits<double>::infinity();
  double bottom_ = 0;
  std::string out_;
};

}  // namespace

std::string_view word(LifeLine::Tip tip) {
  constexpr std::string_view kWords[] = {"port not looked at", "dry", "film", "wet"};
  return kWords[static_cast<std::size_t>(tip)];
}

std::string drawn(const LifeLine& line) {
  return line.looks.empty() ? std::string() : Drawer(line).draw();
}

}  // namespace dryshaft::document
