#include "noise/describe.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/sentence.hpp"
#include "decide/wording.hpp"
#include "report/render.hpp"
#include "report/words.hpp"

namespace dryshaft::noise {
namespace {

using document::Document;
using document::Paragraph;
using document::Table;
using document::Title;

constexpr std::size_t kMostConsidered = 12;
constexpr std::size_t kMostAtOnce = 3;  // parts that the first line names

std::string listed(const std::vector<std::string>& items, std::string_view last) {
  std::string out;
  for (std::size_t i = 0; i < items.size(); ++i) {
    out += i == 0 ? "" : i + 1 == items.size() ? fmt::format("{} ", last) : ", ";
    out += items[i];
  }
  return out;
}

std::string the(const PartKind& part) {
  const bool something = part.kind == NoiseKind::elsewhere || part.kind == NoiseKind::fixed_rate;
  return (something ? "" : "the ") + phrase(part);
}

// "the A or the B" where they cannot be told apart.
std::string with_shared(const Attribution& a) {
  std::vector<std::string> parts = {the(a)};
  for (const PartKind& p : a.shared_with) {
    parts.push_back(the(p));
  }
  return listed(parts, parts.size() > 1 ? ", or" : "");
}

std::string_view how_clearly(double confidence) {
  constexpr double kVery = 0.9;
  constexpr double kClear = 0.7;
  return confidence >= kVery ? "very clearly" : confidence >= kClear ? "clearly" : "faintly";
}

// "1 of 3,000 recordings"
std::string in_recordings(double p) {
  constexpr double kLeast = 1e-6;
  constexpr double kHalf = 0.5;
  if (!(p >= kLeast)) {
    return "fewer than 1 of 1,000,000 recordings";
  }
  if (p > kHalf) {
    return "most recordings";
  }
  const double one_of = 1 / p;
  const double step = std::pow(10, std::max(0.0, std::floor(std::log10(one_of)) - 1));
  return fmt::format("1 of {} recordings", grouped(std::round(one_of / step) * step));
}

std::string chance(double p) {
  constexpr double kLeast = 1e-6;
  return !std::isfinite(p) ? "?" : p < kLeast ? "<1e-6" : fmt::format("{:.2g}", p);
}

std::string sentence(std::string_view text) {
  std::string out = sentence_case(text);
  if (!out.empty() && out.back() != '.') {
    out += '.';
  }
  return out;
}

std::string fixed(double value, int digits) {
  return std::isfinite(value) ? fmt::format("{:.{}f}", words::rounded(value, digits), digits) : "?";
}
std::string shown_level(double level) { return fixed(level, 1) + " dB"; }
std::string rpm(double value) { return grouped(value); }

Table::Column right(std::string_view head) { return {.head = std::string(head), .right = true}; }
Table::Column last(std::string_view head) {
  constexpr std::size_t kLeast = 16;
  return {.head = std::string(head), .fit = Table::Fit::wrap, .least = kLeast};
}

class Describer : document::Telling {
 public:
  Describer(const NoiseSheet& sheet, std::size_t most_lines)
      : s_(sheet), r_(sheet.report), most_lines_(most_lines) {}

  document::Description describe() {
    head();
    fits();
    document::Description all;
    all.answer = take();
    pattern();
    loads();
    considered();
    lines();
    limits();
    basis();
    all.rest = take();
    return all;
  }

 private:
  // A drive unit's gearing and motor give lines of their own, which a right speed fits.
  [[nodiscard]] bool speed_in_doubt() const {
    return !r_.plain_bearings && !r_.named.empty() && r_.speed.shaft_lines == 0;
  }

  [[nodiscard]] std::string answer() const {
    if (r_.left_open != LeftOpen::no) {
      return fmt::format("No part is named: the recording {}.", title(r_.left_open));
    }
    if (r_.named.empty()) {
      return speed_is_open(r_.speed) ? "No part is named: the recording leaves its speed open."
                                     : "No line is clear enough to name a part.";
    }
    const Attribution& first = r_.named.front();
    const std::string_view sure =
        speed_in_doubt() ? "if the speed is right" : how_clearly(first.confidence);
    const std::string_view fits = speed_in_doubt() ? "would fit" : "fits";
    const std::string_view alike =
        speed_in_doubt() ? "they would fit equally well" : "they fit equally well";
    std::string text = first.shared_with.empty()
                           ? fmt::format("{} {}, {}", sentence_case(the(first)), fits, sure)
                           : fmt::format("Either {}: {}, {}", with_shared(first), alike, sure);
    if (r_.named.size() > 1) {
      std::vector<std::string> more;
      for (std::size_t i = 1; i < std::min(r_.named.size(), kMostAtOnce); ++i) {
        more.push_back(with_shared(r_.named[i]));
      }
      if (r_.named.size() > kMostAtOnce) {
        more.push_back(fmt::format("{} more", r_.named.size() - kMostAtOnce));
      }
      text += fmt::format("; also {}", listed(more, " and"));
    }
    return text + ".";
  }

  void head() {
    d_.emplace_back(Title{
        answer(),
        fmt::format("{}: {} s at {} Hz{}.", s_.source, fixed(r_.seconds, 1), grouped(r_.rate),
                    s_.channels > 1 ? fmt::format(", channel {} of {}", s_.channel, s_.channels)
                                    : std::string())});
    for (const auto& [id, text] : s_.cautions) {
      d_.emplace_back(Paragraph{text});
    }
    lead("How sure", how_sure());
    lead("Speed", speed());
    if (!s_.held_against.empty()) {
      lead("Against", s_.held_against + ".");
    }
  }

  [[nodiscard]] std::string how_sure() const {
    switch (r_.left_open) {
      case LeftOpen::lines_everywhere:
        return fmt::format(
            "A part would be named at {} of orders that belong to no part: such lines identify no "
            "part. Slow clicks make them, such as those of a flat spot on a tyre, and so do hums "
            "with many multiples.",
            words::percent(r_.decoys));
      case LeftOpen::repeats:
        return "The recording repeats itself sample for sample. A looped clip or a signal "
               "generator does that; a machine does not. Its lines are those of the loop.";
      case LeftOpen::no:
        break;
    }
    if (!r_.named.empty()) {
      const Attribution& first = r_.named.front();
      if (speed_in_doubt()) {
        return fmt::format(
            "Not sure: no line of gearing or motor confirms the speed. Vehicle, tyre or unit may "
            "differ from those given. Check them first. Only if they are right, confidence {} in "
            "{}.",
            words::percent(first.confidence), with_shared(first));
      }
      return fmt::format(
          "Confidence {}. Noise alone would give such lines in {}, counted over all orders "
          "searched.{}",
          words::percent(first.confidence), in_recordings(first.p_value),
          first.shared_with.empty() ? "" : " Which of these parts it is stays open.");
    }
    if (speed_is_open(r_.speed)) {
      return "Without its speed, a recording cannot identify a part.";
    }
    if (r_.considered.empty()) {
      return "Nothing stands out. That does not prove that all is good.";
    }
    // The deepest; where none is deep, the one that noise alone gives most seldom.
    const auto nearest = std::ranges::min_element(r_.considered, {}, [](const Attribution& a) {
      return std::pair(-a.confidence, a.p_value);
    });
    const std::string text =
        nearest->p_value <= r_.false_alarm
            ? std::string("lines are there, but too faint to name it")
            : fmt::format("noise alone does as well in {}", in_recordings(nearest->p_value));
    return fmt::format(
        "Nearest was {}: {}. The lack of a clear line does not prove that all is good.",
        the(*nearest), text);
  }

  [[nodiscard]] std::string speed() const {
    const NoiseSpeed& s = r_.speed;
    constexpr double kSame = 5e-4;
    const std::string_view shaft = r_.plain_bearings ? "shaft" : "rotor";
    const bool range = s.highest_rpm > s.lowest_rpm * (1 + kSame) && s.lowest_rpm > 0;
    const std::string used =
        range ? fmt::format("{} to {} rpm of the {}, {} on average", rpm(s.lowest_rpm),
                            rpm(s.highest_rpm), shaft, rpm(s.used_rpm))
              : fmt::format("{} rpm of the {}", rpm(s.used_rpm), shaft);
    std::string text;
    const std::string count = words::count(s.shaft_lines, "line", "lines");
    const double off = s.given_rpm > 0 ? s.used_rpm / s.given_rpm - 1 : 0;
    if (s.basis == SpeedBasis::none) {
      text = speed_is_open(s) && s.alternatives_rpm.empty()
                 ? std::string("not given, and not found in the recording")
                 : fmt::format("{}, estimated from {}", used, count);
    } else if (std::abs(off) > kSame && s.shaft_lines == 0) {
      text = fmt::format("{}, confirmed by no line; given was {} rpm, {:.1f} % {}", used,
                         rpm(s.given_rpm), std::abs(off) * 100, off > 0 ? "less" : "more");
    } else if (std::abs(off) > kSame) {
      text = fmt::format("{}, confirmed by {}; given was {} rpm, {:.1f} % {}", used, count,
                         rpm(s.given_rpm), std::abs(off) * 100, off > 0 ? "less" : "more");
    } else if (s.shaft_lines > 0) {
      text = fmt::format("{}, as given; confirmed by {}", used, count);
    } else {
      text = fmt::format("{}, as given; confirmed by no line", used);
    }
    if (s.uncertainty > 0 && std::isfinite(s.uncertainty)) {
      text += fmt::format("; it may be off by {:.2g} % either way", s.uncertainty * 100);
    }
    text = sentence(text);
    if (!s.alternatives_rpm.empty()) {
      std::vector<std::string> others;
      others.reserve(s.alternatives_rpm.size());
      for (const double other : s.alternatives_rpm) {
        others.push_back(rpm(other));
      }
      text += fmt::format(
          " The lines fit nearly as well at {} rpm on average. Give the speed to decide.",
          listed(others, " or"));
    }
    return text;
  }

  static std::string slip(const Attribution& a) {
    const double percent = words::rounded((a.found_order / a.expected_order - 1) * 100, 2);
    return !(a.expected_order > 0) || !std::isfinite(percent) ? "-"
           : percent == 0                                     ? "0.00 %"
                                                              : fmt::format("{:+.2f} %", percent);
  }

  void fits() {
    if (r_.named.empty()) {
      return;
    }
    heading("What fits");
    for (std::size_t i = 0; i < r_.named.size(); ++i) {
      item(fmt::format("{}: {}, {}", letter(i), phrase(r_.named[i]), where(r_.named[i])));
    }
    Table table;
    table.columns = {{.head = "mark"}, right("order"), right("expected"), right("off"),
                     right("level"),   right("lines"), right("sure")};
    for (std::size_t i = 0; i < r_.named.size(); ++i) {
      const Attribution& a = r_.named[i];
      table.rows.push_back({letter(i), shown_order(a.found_order), shown_order(a.expected_order),
                            slip(a), shown_level(a.level_db),
                            fmt::format("{} of {}", a.standing, a.lines),
                            words::short_percent(a.confidence)});
    }
    d_.emplace_back(std::move(table));
  }

  static std::string where(const Attribution& a) {
    std::string text = a.band_high_hz > 0
                           ? fmt::format("seen in the envelope of {} to {} Hz",
                                         grouped(a.band_low_hz), grouped(a.band_high_hz))
                           : std::string("stands out in the recording itself");
    if (a.share >= 0) {
      text += fmt::format(", {} of the time", words::percent(a.share));
    }
    // Multiples under each reason, in the order in which the reasons appear.
    std::vector<std::pair<LeftOut, std::vector<std::string>>> reasons;
    for (const Excluded& e : a.excluded) {
      auto at = std::ranges::find(reasons, e.why, [](const auto& r) { return r.first; });
      if (at == reasons.end()) {
        at = reasons.insert(reasons.end(), {e.why, {}});
      }
      at->second.push_back(fmt::format("{}", e.multiple));
    }
    for (std::size_t i = 0; i < reasons.size(); ++i) {
      const auto& [why, multiples] = reasons[i];
      text += fmt::format("{}multiple{} {} ({})", i == 0 ? "; left out: " : ", ",
                          multiples.size() == 1 ? "" : "s", listed(multiples, " and"), title(why));
    }
    text += ".";
    if (!a.shared_with.empty()) {
      std::vector<std::string> others;
      others.reserve(a.shared_with.size());
      for (const PartKind& p : a.shared_with) {
        others.push_back(the(p));
      }
      text += fmt::format(" Cannot be told apart here from {}.", listed(others, " or"));
    }
    return text;
  }

  void pattern() {
    if (!r_.pattern) {
      return;
    }
    heading("One defect or a washboard");
    const DamagePattern p = r_.pattern->pattern;
    lead(p == DamagePattern::washboard       ? "Washboard"
         : p == DamagePattern::single_defect ? "One defect"
                                             : "Open",
         sentence(r_.pattern->reason));
  }

  void loads() {
    if (r_.loads.empty()) {
      return;
    }
    heading("Level by load");
    Table table;
    for (std::size_t i = 0; i < kLoadCount; ++i) {
      table.columns.push_back(right(name(static_cast<Load>(i))));
    }
    table.columns.push_back(last("part"));
    bool some_short = false;
    for (const LoadLevels& l : r_.loads) {
      std::vector<std::string> row;
      for (const std::optional<double>& level : l.level_db) {
        row.push_back(level ? shown_level(*level) : "-");
        some_short = some_short || !level;
      }
      row.push_back(phrase(l));
      table.rows.push_back(std::move(row));
    }
    d_.emplace_back(std::move(table));
    if (some_short) {
      d_.emplace_back(Paragraph{"-: not marked, or too short to tell."});
    }
  }

  void considered() {
    if (r_.considered.empty()) {
      return;
    }
    heading(r_.named.empty() ? "What was considered" : "What else was considered");
    Table table;
    table.columns = {right("order"), right("expected"), right("level"), right("lines"),
                     right("depth"), right("chance"),   last("part")};
    for (std::size_t i = 0; i < std::min(r_.considered.size(), kMostConsidered); ++i) {
      const Attribution& a = r_.considered[i];
      table.rows.push_back({shown_order(a.found_order), shown_order(a.expected_order),
                            shown_level(a.level_db), fmt::format("{} of {}", a.standing, a.lines),
                            a.depth > 0 ? fixed(a.depth, 2) : "-", chance(a.p_value), phrase(a)});
    }
    d_.emplace_back(std::move(table));
    std::string text =
        "Lines: how many multiples stand out, of those searched. Depth: how far the level swells "
        "with them; a shallow swell names nothing. Chance: the probability that noise alone does "
        "as well.";
    if (r_.considered.size() > kMostConsidered) {
      text += fmt::format(" {} more fit less well.", r_.considered.size() - kMostConsidered);
    }
    d_.emplace_back(Paragraph{std::move(text)});
  }

  void lines() {
    if (r_.lines.empty()) {
      return;
    }
    heading("Strongest lines");
    Table table;
    table.columns = {right("#"),      right("order"), right("Hz"),          right("level"),
                     right("chance"), right("time"),  {.head = "spectrum"}, last("fits")};
    for (std::size_t i = 0; i < std::min(r_.lines.size(), most_lines_); ++i) {
      const NoiseLine& l = r_.lines[i];
      table.rows.push_back(
          {fmt::format("{}", i + 1), shown_order(l.order), fixed(l.hz, 1), shown_level(l.level_db),
           chance(l.p_value), l.share >= 0 ? words::short_percent(l.share) : "-",
           l.in_envelope ? "envelope" : "order", l.fits.empty() ? "nothing known" : l.fits});
    }
    d_.emplace_back(std::move(table));
  }

  void limits() {
    if (r_.limits.empty()) {
      return;
    }
    heading("Limits of this recording");
    for (const std::string& limit : r_.limits) {
      item(sentence(limit));
    }
  }

  void basis() {
    heading("How to read this");
    d_.emplace_back(Paragraph{fmt::format(
        "An order is a frequency divided by the turns per second of the {}. A level is that of a "
        "spectral line over the noise around it. The line of a rolling element is at twice its "
        "spin frequency: a defect on it meets both races in a turn.",
        r_.plain_bearings ? "bearing's shaft" : "rotor")});
    std::string text;
    if (r_.false_alarm > 0) {
      text = fmt::format("With noise alone, a part is named in at most {}. ",
                         in_recordings(r_.false_alarm));
    }
    d_.emplace_back(Paragraph{fmt::format(
        "{}The lines fit a part; only an inspection of the part shows damage. dryshaft {}.", text,
        DRYSHAFT_VERSION)});
  }

  const NoiseSheet& s_;
  const NoiseReport& r_;
  std::size_t most_lines_;
};

Document whole_description(const NoiseSheet& sheet) {
  constexpr std::size_t kMostLines = 12;
  document::Description parts = describe_recording(sheet, kMostLines);
  std::ranges::move(parts.rest, std::back_inserter(parts.answer));
  return std::move(parts.answer);
}

}  // namespace

std::string phrase(const PartKind& part) {
  const std::string_view kind = title(part.kind);
  switch (part.kind) {
    case NoiseKind::shaft:
      return fmt::format("{} itself", part.part.empty() ? kind : part.part);
    case NoiseKind::electrical:
      return part.part.empty() ? std::string(kind) : fmt::format("{} ({})", kind, part.part);
    case NoiseKind::wheel:
    case NoiseKind::joint:
    case NoiseKind::fixed_rate:
      return std::string(kind);
    case NoiseKind::elsewhere:
      return fmt::format("{} that knocks {}", kind, part.part);
    default:
      break;
  }
  const std::string_view whose = of_bearing(part.kind) ? "the bearing" : "the gears";
  return fmt::format("{} of {}", kind, part.part.empty() ? whose : part.part);
}

std::string shown_order(double order) { return fixed(order, 3); }

std::string letter(std::size_t named) {
  constexpr std::size_t kLetters = 26;
  std::string text(1, static_cast<char>('A' + named % kLetters));
  return named < kLetters ? text : text + fmt::format("{}", named / kLetters);
}

document::Description describe_recording(const NoiseSheet& sheet, std::size_t most_lines) {
  return Describer(sheet, most_lines).describe();
}

}  // namespace dryshaft::noise

namespace dryshaft {

std::string noise_to_text(const NoiseSheet& sheet, const TextStyle& style) {
  return document::in_text(noise::whole_description(sheet), style);
}

std::string noise_to_markdown(const NoiseSheet& sheet) {
  return document::in_markdown(noise::whole_description(sheet));
}

}  // namespace dryshaft
