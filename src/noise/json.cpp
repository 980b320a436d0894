// `dryshaft-noise/1`: one object, one line.
#include <fmt/format.h>

#include <charconv>
#include <cmath>

#include "base/json_out.hpp"
#include "dryshaft/noise_report.hpp"
#include "report/ordered_json.hpp"

namespace dryshaft {
namespace {

using words::Ordered;
using words::text_or_null;

constexpr int kOrderDigits = 4;
constexpr int kRpmDigits = 1;

// Three digits from the first that is not 0: probabilities can be very small.
Ordered chance(double value) {
  if (!std::isfinite(value)) {
    return nullptr;
  }
  const std::string text = fmt::format("{:.3g}", value);
  double rounded = 0;
  std::from_chars(text.data(), text.data() + text.size(), rounded);
  return rounded;
}

Ordered part(const PartKind& p) { return {{"part", p.part}, {"kind", name(p.kind)}}; }

Ordered of_attribution(const Attribution& a) {
  Ordered json = part(a);
  json["expected_order"] = words::number_or_null(a.expected_order, kOrderDigits);
  json["found_order"] = words::number_or_null(a.found_order, kOrderDigits);
  json["slip_percent"] =
      a.expected_order > 0 ? words::number_or_null((a.found_order / a.expected_order - 1) * 100, 3)
                           : nullptr;
  json["confidence"] = words::number_or_null(a.confidence, words::kProbabilityDigits);
  json["level_db"] = words::number_or_null(a.level_db, 1);
  json["p_value"] = chance(a.p_value);
  json["depth"] = words::number_or_null(a.depth, 3);
  json["share"] = a.share >= 0 ? words::number_or_null(a.share, 3) : Ordered(nullptr);
  json["band_hz"] = a.band_high_hz > 0 ? Ordered{words::number_or_null(a.band_low_hz, 1),
                                                 words::number_or_null(a.band_high_hz, 1)}
                                       : Ordered(nullptr);
  json["lines"] = a.lines;
  json["standing"] = a.standing;
  json["excluded"] = Ordered::array();
  for (const Excluded& e : a.excluded) {
    json["excluded"].push_back({{"multiple", e.multiple}, {"because", title(e.why)}});
  }
  json["shared_with"] = Ordered::array();
  for (const PartKind& p : a.shared_with) {
    json["shared_with"].push_back(part(p));
  }
  return json;
}

Ordered of_speed(const NoiseSpeed& s) {
  Ordered json;
  json["basis"] = name(s.basis);
  json["given_rpm"] =
      s.given_rpm > 0 ? words::number_or_null(s.given_rpm, kRpmDigits) : Ordered(nullptr);
  const bool ranges = s.highest_rpm > 0;  // else it is constant
  json["rpm"] = {
      {"mean", words::number_or_null(s.used_rpm, kRpmDigits)},
      {"lowest", words::number_or_null(ranges ? s.lowest_rpm : s.used_rpm, kRpmDigits)},
      {"highest", words::number_or_null(ranges ? s.highest_rpm : s.used_rpm, kRpmDigits)}};
  json["uncertainty_percent"] =
      s.uncertainty > 0 ? words::number_or_null(s.uncertainty * 100, 3) : Ordered(nullptr);
  json["borne_out_by_lines"] = s.shaft_lines;
  json["alternatives_rpm"] = Ordered::array();
  for (const double rpm : s.alternatives_rpm) {
    json["alternatives_rpm"].push_back(words::number_or_null(rpm, kRpmDigits));
  }
  json["track"] = Ordered::array();
  for (const SpeedPoint& p : s.track) {
    json["track"].push_back({{"seconds", words::number_or_null(p.seconds, 3)},
                             {"rpm", words::number_or_null(p.rpm, kRpmDigits)}});
  }
  return json;
}

Ordered of_line(const NoiseLine& l) {
  Ordered json;
  json["spectrum"] = l.in_envelope ? "envelope" : "order";
  json["order"] = words::number_or_null(l.order, kOrderDigits);
  json["hz"] = words::number_or_null(l.hz, 2);
  json["level_db"] = words::number_or_null(l.level_db, 1);
  json["p_value"] = chance(l.p_value);
  json["share"] = l.share >= 0 ? words::number_or_null(l.share, 3) : Ordered(nullptr);
  json["fits"] = text_or_null(l.fits);
  return json;
}

}  // namespace

std::string noise_to_json(const NoiseSheet& sheet) {
  const NoiseReport& r = sheet.report;
  Ordered json;
  json["format"] = kNoiseFormat;
  json["tool"] = {{"name", kToolName}, {"version", DRYSHAFT_VERSION}};
  json["recording"] = {{"source", sheet.source},
                       {"rate_hz", words::number_or_null(r.rate, 3)},
                       {"seconds", words::number_or_null(r.seconds, 3)},
                       {"channel", sheet.channel},
                       {"channels", sheet.channels}};
  json["held_against"] = sheet.held_against;
  json["plain_bearings"] = r.plain_bearings;
  json["speed"] = of_speed(r.speed);
  json["clear"] = !r.named.empty();
  json["left_open"] = r.left_open == LeftOpen::no ? Ordered(nullptr) : Ordered(name(r.left_open));
  for (const auto& [key, found] :
       {std::pair{"attributions", &r.named}, std::pair{"considered", &r.considered}}) {
    json[key] = Ordered::array();
    for (const Attribution& a : *found) {
      json[key].push_back(of_attribution(a));
    }
  }
  json["pattern"] = nullptr;
  if (r.pattern) {
    json["pattern"] = {{"pattern", name(r.pattern->pattern)}, {"reason", r.pattern->reason}};
  }
  json["lines"] = Ordered::array();
  for (const NoiseLine& l : r.lines) {
    json["lines"].push_back(of_line(l));
  }
  json["loads"] = Ordered::array();
  for (const LoadLevels& l : r.loads) {
    Ordered levels = part(l);
    for (std::size_t i = 0; i < kLoadCount; ++i) {
      const std::optional<double>& level = l.level_db[i];
      levels[std::string(name(static_cast<Load>(i))) + "_db"] =
          level ? words::number_or_null(*level, 1) : Ordered(nullptr);
    }
    json["loads"].push_back(std::move(levels));
  }
  json["false_alarm"] = chance(r.false_alarm);
  json["limits"] = r.limits;
  json["element_line"] = "twice the spin frequency";
  json["cautions"] = Ordered::array();
  for (const auto& [id, text] : sheet.cautions) {
    json["cautions"].push_back({{"id", id}, {"text", text}});
  }
  // All but plain ASCII is escaped, so that a hostile name is harmless on a terminal.
  return json_out::of(json) + "\n";
}

}  // namespace dryshaft
