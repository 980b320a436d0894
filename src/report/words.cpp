#include "report/words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "base/index.hpp"
#include "base/sentence.hpp"
#include "decide/wording.hpp"
#include "record/shape.hpp"

namespace dryshaft::words {
namespace {

constexpr std::string_view kNotKnown = "not known";

// Down to `digits` significant digits. The small addend lets 500 that was
// computed as 499.9999999 stay 500.
double rounded_down(double value, int digits) {
  if (!(value >= 1)) {
    return 0;
  }
  const double step = std::pow(10.0, std::max(0.0, std::floor(std::log10(value)) - digits + 1));
  return std::floor(value / step + 1e-9) * step;
}

double limit_value(double km, Units units) {
  return rounded_down(in_units(km, units), units == Units::km ? 3 : 2);
}

}  // namespace

double rounded(double value, int digits) {
  static constexpr std::array<double, 7> kPowers = {1, 10, 100, 1e3, 1e4, 1e5, 1e6};
  const double power = kPowers.at(static_cast<std::size_t>(digits));
  const double result = std::round(value * power) / power;
  if (!std::isfinite(result)) {
    return value;  // too large to have digits after the point, or not a number
  }
  return result == 0 ? 0 : result;
}

std::optional<std::string> plain_number(double value, int digits) {
  if (!std::isfinite(value)) {
    return std::nullopt;
  }
  return fmt::format("{}", rounded(value, digits));
}

double round_step(double range, double parts) {
  const double power = std::pow(10.0, std::floor(std::log10(range / parts)));
  for (const double factor : {1.0, 2.0, 5.0}) {
    if (range / (power * factor) <= parts) {
      return power * factor;
    }
  }
  return power * 10;
}

std::string percent(double probability) {
  if (!std::isfinite(probability)) {
    return std::string(kNotKnown);
  }
  return dryshaft::percent(probability);
}

std::string short_percent(double probability) {
  if (!std::isfinite(probability)) {
    return "?";
  }
  if (probability < 0.01) {
    return "<1 %";
  }
  return probability > 0.99 ? ">99 %" : percent(probability);
}

std::string_view unit_name(Units units) { return units == Units::mi ? "mi" : "km"; }

double in_units(double km, Units units) { return units == Units::mi ? km / kKmPerMile : km; }

std::string distance(double km, Units units) {
  return fmt::format("{} {}", grouped(in_units(km, units)), unit_name(units));
}

std::string limit(double km, Units units) { return grouped(limit_value(km, units)); }

std::string days(double days) {
  const double whole = std::floor(std::max(0.0, days) + 1e-9);
  if (whole >= 365 && std::fmod(whole, 365) == 0) {
    const double years = whole / 365;
    return years == 1 ? "1 year" : fmt::format("{} years", grouped(years));
  }
  return whole == 1 ? "1 day" : fmt::format("{} days", grouped(whole));
}

std::string deadline(const std::optional<double>& within_km,
                     const std::optional<double>& within_days, Units units,
                     Whereabouts whereabouts) {
  const bool km_known = within_km && std::isfinite(*within_km);
  const bool days_known = within_days && std::isfinite(*within_days);
  const bool no_driving = km_known && limit_value(*within_km, units) <= 0;
  const bool no_waiting = days_known && *within_days < 1;
  if (no_driving) {
    const std::string_view before =
        whereabouts == Whereabouts::core     ? "before it is energised or fitted"
        : whereabouts == Whereabouts::opened ? "before it is closed"
                                             : "before any further driving";
    return days_known && !no_waiting ? fmt::format("{} and within {}", before, days(*within_days))
                                     : std::string(before);
  }
  if (no_waiting) {
    return "today";
  }
  if (km_known && days_known) {
    return fmt::format("within {} {} or {}", limit(*within_km, units), unit_name(units),
                       days(*within_days));
  }
  if (km_known) {
    return fmt::format("within {} {}", limit(*within_km, units), unit_name(units));
  }
  return days_known ? fmt::format("within {}", days(*within_days)) : std::string();
}

std::string short_deadline(const std::optional<double>& within_km,
                           const std::optional<double>& within_days, Units units) {
  const bool km_known = within_km && std::isfinite(*within_km);
  const bool days_known = within_days && std::isfinite(*within_days);
  if (!km_known && !days_known) {
    return "-";
  }
  return fmt::format("{}/{}", km_known ? limit(*within_km, units) : "-",
                     days_known ? grouped(std::floor(std::max(0.0, *within_days) + 1e-9)) : "-");
}

std::string_view weight(double decibans) {
  // Steps of half a power of ten, as H. Jeffreys graded odds (Theory of
  // Probability, appendix B; from memory). The words are ours.
  struct Step {
    double below;
    std::string_view word;
  };
  static constexpr std::array<Step, 5> kSteps = {{
      {1, "hardly any"},
      {5, "slight"},
      {10, "fair"},
      {15, "strong"},
      {20, "very strong"},
  }};
  const double size = std::abs(decibans);
  for (const Step& step : kSteps) {
    if (size < step.below) {
      return step.word;
    }
  }
  return "near proof";
}

std::string either(const std::vector<Grade>& grades) {
  std::string out;
  for (std::size_t i = 0; i < grades.size(); ++i) {
    if (i > 0) {
      out += i + 1 == grades.size() ? " or " : ", ";
    }
    out += name(grades[i]);
  }
  return out;
}

std::string count(std::size_t number, std::string_view one, std::string_view many, bool or_more) {
  return fmt::format("{}{} {}", or_more ? "at least " : "", grouped(static_cast<double>(number)),
                     number == 1 ? one : many);
}

std::string own_title(std::string_view key) {
  std::string title(key.substr(std::min(kOwnPrefix.size(), key.size())));
  std::ranges::replace(title, '_', ' ');
  return title.find_first_not_of(' ') == std::string::npos ? std::string(key) : title;
}

std::string_view own_of(const Report& report, std::string_view key) {
  const auto found = std::ranges::find(report.own, key, &OwnValue::key);
  return found == report.own.end() ? std::string_view() : found->text;
}

std::string work_done(const HistoryWork& work, Audience audience, Units units) {
  std::vector<std::string> when;
  if (!work.date.empty()) {
    when.push_back(work.date);
  }
  if (work.odometer_km) {
    when.push_back(distance(*work.odometer_km, units));
  }
  const Choice& did = spec(work.did);
  std::string text = fmt::format("{}: {}", fmt::join(when, ", "),
                                 audience == Audience::owner ? did.owner : did.plain);
  if (audience == Audience::owner) {
    return text;
  }
  std::vector<std::string> more;
  if (work.material) {
    more.emplace_back(spec(Field::work_material).choices[idx(*work.material)].id);
  }
  if (work.keeps_crossover) {
    more.emplace_back(*work.keeps_crossover ? "crossover pipe kept" : "crossover pipe not kept");
  }
  if (work.by) {
    more.emplace_back(spec(Field::work_by).choices[idx(*work.by)].plain);
  }
  if (work.date.empty()) {
    more.push_back("told on " + work.told_on);
  }
  if (!more.empty()) {
    text += fmt::format(" ({})", fmt::join(more, "; "));
  }
  return work.note.empty() ? text : fmt::format("{}. {}", text, work.note);
}

}  // namespace dryshaft::words
