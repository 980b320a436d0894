#include <fmt/format.h>

#include <array>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <iterator>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/json_out.hpp"
#include "dryshaft/report.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

// JSON text, written front to back. This is the hot path of a large run, so it
// builds no tree.
class Writer {
 public:
  // The text grows in a place that the thread keeps, so that it is not cleared again for each.
  Writer() : out_(kept()) {}

  void begin(char bracket) {
    separate();
    put(bracket);
    comma_due_ = false;
  }
  void end(char bracket) {
    put(bracket);
    comma_due_ = true;
  }

  // Keys are our own and need no escapes.
  void key(std::string_view key) {
    char* at = room(key.size() + 4);
    if (comma_due_) {
      *at++ = ',';
    } else {
      --used_;
    }
    *at++ = '"';
    at = std::copy(key.begin(), key.end(), at);
    *at++ = '"';
    *at = ':';
    comma_due_ = false;
  }

  void null() {
    separate();
    put("null");
  }

  void text(std::string_view value) {
    separate();
    if (json_out::stands_as_is(value)) {
      char* at = room(value.size() + 2);
      *at = '"';
      std::memcpy(at + 1, value.data(), value.size());
      at[value.size() + 1] = '"';
    } else {
      put('"');
      put(json_out::inside_string(value));
      put('"');
    }
  }
  void text_or_null(std::string_view value) { value.empty() ? null() : text(value); }

  void flag(bool value) {
    separate();
    put(value ? "true" : "false");
  }

  void whole(std::uint32_t value) {
    separate();
    const fmt::format_int digits(value);
    put({digits.data(), digits.size()});
  }

  void number(double value, int digits) {
    if (!std::isfinite(value)) {
      null();
      return;
    }
    separate();
    decimal(words::rounded(value, digits));
  }
  void number(const std::optional<double>& value, int digits) {
    value ? number(*value, digits) : null();
  }

  // An array with one `write(item)` for each item.
  template <typename Items, typename Write>
  void each(std::string_view name, const Items& items, Write write) {
    key(name);
    begin('[');
    for (const auto& item : items) {
      write(item);
    }
    end(']');
  }
  template <typename Text>
  void texts(std::string_view name, const std::vector<Text>& items) {
    each(name, items, [this](const Text& item) { text(item); });
  }

  // Members of the object that is open.
  void member(std::string_view name, std::string_view value) {
    key(name);
    text(value);
  }
  void member_or_null(std::string_view name, std::string_view value) {
    key(name);
    text_or_null(value);
  }
  template <typename Number>
  void member(std::string_view name, const Number& value, int digits) {
    key(name);
    number(value, digits);
  }

  std::string take() {
    put('\n');
    return out_.substr(0, used_);
  }

 private:
  static std::string& kept() {
    thread_local std::string text;
    return text;
  }

  char* room(std::size_t bytes) {
    if (out_.size() - used_ < bytes) [[unlikely]] {
      out_.resize(2 * out_.size() + bytes);
    }
    char* at = out_.data() + used_;
    used_ += bytes;
    return at;
  }
  void put(char c) { *room(1) = c; }
  void put(std::string_view text) { std::memcpy(room(text.size()), text.data(), text.size()); }

  void separate() {
    if (comma_due_) {
      put(',');
    }
    comma_due_ = true;
  }

  // The shortest text that gives the number back. One with up to four digits
  // after the point is written as the whole number of ten-thousandths that it is.
  void decimal(double value) {
    constexpr double kParts = 10000;
    constexpr double kMost = 1e11;  // times kParts is exact
    const double parts = std::round(value * kParts);
    if (!(std::abs(value) < kMost) || parts / kParts != value) {
      fmt::memory_buffer text;
      fmt::format_to(std::back_inserter(text), "{}", value);
      put({text.data(), text.size()});
      return;
    }
    if (value < 0) {
      put('-');
    }
    const auto n = static_cast<std::uint64_t>(std::abs(parts));
    const fmt::format_int whole(n / 10000);
    put({whole.data(), whole.size()});
    if (std::uint64_t rest = n % 10000; rest != 0) {
      std::array<char, 5> digits{'.'};
      for (std::size_t i = digits.size(); i-- > 1; rest /= 10) {
        digits[i] = static_cast<char>('0' + rest % 10);
      }
      std::string_view shown(digits.data(), digits.size());
      put(shown.substr(0, shown.find_last_not_of('0') + 1));
    }
  }

  std::string& out_;
  std::size_t used_ = 0;
  bool comma_due_ = false;
};

void write_evidence(Writer& json, std::string_view name, const std::vector<Evidence>& evidence) {
  json.each(name, evidence, [&](const Evidence& e) {
    json.begin('{');
    json.member_or_null("rule", e.rule);
    json.member("finding", e.finding);
    json.member("value", e.value);
    json.member("shown", e.shown);
    json.member("decibans", e.decibans, words::kDecibanDigits);
    json.end('}');
  });
}

void write_observations(Writer& json, std::string_view name,
                        const std::vector<Observation>& observations) {
  json.each(name, observations, [&](const Observation& o) {
    json.begin('{');
    json.member("finding", o.finding);
    json.member_or_null("value", o.value);
    json.member("shown", o.shown);
    json.member_or_null("since", o.since);
    json.end('}');
  });
}

void write_basis(Writer& json, const Report& report) {
  json.member("format", kReportFormat);
  json.key("tool");
  json.begin('{');
  json.member("name", kToolName);
  json.member("version", report.tool_version);
  json.end('}');
  json.member_or_null("as_of", report.as_of);
  json.key("rules");
  json.begin('{');
  json.member("id", report.rules_id);
  json.member("version", report.rules_version);
  json.member("sha256", report.rules_sha256);
  if (!report.rules_reservations.empty()) {
    json.texts("reservations", report.rules_reservations);
  }
  if (report.rules_overlay) {
    json.key("overlay");
    json.begin('{');
    json.member("sha256", report.rules_overlay->sha256);
    json.key("teardowns");
    json.whole(static_cast<std::uint32_t>(report.rules_overlay->teardowns));
    json.end('}');
  }
  json.end('}');
  if (report.onset) {
    json.key("onset");
    json.begin('{');
    json.member("source", report.onset->source);
    json.member("sha256", report.onset->sha256);
    json.member("units", report.onset->units, 0);
    json.member("by", report.onset->by_years ? "years" : "km");
    json.end('}');
  }
  json.key("family");
  json.begin('{');
  json.member("id", report.family.empty() ? kGenericFamily : std::string_view(report.family));
  json.member_or_null("sha256", report.family_sha256);
  json.end('}');
  const auto record = [&](std::string_view source, std::uint32_t line, std::string_view sha256) {
    json.begin('{');
    json.member("source", source);
    json.key("line");
    json.whole(line);
    json.member("sha256", sha256);
  };
  json.key("record");
  record(report.source, report.line, report.record_sha256);
  json.end('}');
  json.each("records", report.records, [&](const RecordUsed& used) {
    record(used.source, used.line, used.sha256);
    json.member("date", used.date);
    json.key("set_aside");
    json.flag(used.set_aside);
    json.end('}');
  });
  json.member_or_null("records_sha256", report.records_sha256);
  json.member("audience", report.audience == Audience::owner ? "owner" : "technician");
  json.member("unit_id", report.unit_id);
  json.key("unit");
  json.begin('{');
  json.member_or_null("family", report.family);
  json.member_or_null("family_title", report.family_title);
  json.member_or_null("vehicle", report.vehicle);
  json.member("odometer_km", report.odometer_km, 0);
  json.member("seal_km", report.seal_km, 0);
  json.end('}');
  json.member("date", report.date);
  json.member_or_null("by", report.by);
}

void write_verdict(Writer& json, const Report& report) {
  json.member("grade", name(report.grade));
  json.member("grade_meaning", report.grade_meaning);
  json.member("headline", report.headline);
  json.member_or_null("at_least", report.at_least ? name(*report.at_least) : "");
  json.each("floors", report.floors, [&](const FloorHeld& floor) {
    json.begin('{');
    json.member("rule", floor.rule);
    json.member("grade", name(floor.grade));
    json.member("because", floor.because);
    json.end('}');
  });
  json.texts("reasons", report.reasons);
  json.member("risk", report.risk, words::kProbabilityDigits);
  json.key("how_sure");
  if (report.how_sure) {
    const HowSure& sure = *report.how_sure;
    json.begin('{');
    json.member("values", static_cast<double>(sure.values), 0);
    json.member("odds_factor", sure.odds_factor, words::kProbabilityDigits);
    json.member("risk_low", sure.risk_low, words::kProbabilityDigits);
    json.member("risk_high", sure.risk_high, words::kProbabilityDigits);
    json.member("grade_holds", sure.grade_holds, words::kProbabilityDigits);
    json.each("grades", sure.grades, [&](Grade grade) { json.text(name(grade)); });
    json.each("rests_on", sure.rests_on, [&](const RestsOn& r) {
      json.begin('{');
      json.member("rule", r.rule);
      json.member("value", r.value);
      json.member("decibans", r.decibans, words::kDecibanDigits);
      json.end('}');
    });
    json.end('}');
  } else {
    json.null();
  }
  json.each("prognosis", report.prognosis, [&](const Prognosis& p) {
    const auto foreseen = [&](std::string_view name, const Foreseen& f) {
      json.key(name);
      json.begin('{');
      json.member("probability", f.probability, words::kProbabilityDigits);
      json.member("low", f.low, words::kProbabilityDigits);
      json.member("high", f.high, words::kProbabilityDigits);
      json.end('}');
    };
    json.begin('{');
    json.member("km", p.km, 0);
    json.member("days", p.days, 0);
    foreseen("damage", p.damage);
    foreseen("breakdown", p.breakdown);
    json.end('}');
  });
  json.member("one_in_ten_km", report.one_in_ten_km, 0);
  json.each("causes", report.causes, [&](const CauseReport& cause) {
    json.begin('{');
    json.member("id", cause.id);
    json.member("title", cause.title);
    json.member("probability", cause.probability, words::kProbabilityDigits);
    json.key("evidence");
    json.begin('{');
    write_evidence(json, "for", cause.for_it);
    write_evidence(json, "against", cause.against_it);
    json.end('}');
    json.texts("not_observed", cause.not_observed);
    json.end('}');
  });
  write_observations(json, "observed", report.observed);
  write_observations(json, "not_observed", report.not_observed);
  json.each("contradictions", report.contradictions, [&](const Contradiction& contradiction) {
    json.begin('{');
    json.member("id", contradiction.id);
    json.member("text", contradiction.text);
    json.end('}');
  });
}

void write_advice(Writer& json, const Report& report) {
  json.each("actions", report.actions, [&](const Action& action) {
    json.begin('{');
    json.member("id", action.id);
    json.member_or_null("rule", action.rule);
    json.member("urgency", name(action.urgency));
    json.member("within_km", action.within_km, 0);
    json.member("within_days", action.within_days, 0);
    json.member("asked", action.asked);
    json.member("text", action.text);
    json.member("because", action.because);
    json.member_or_null("title", action.title);
    json.texts("cautions", action.cautions);
    json.end('}');
  });
  json.each("cautions", report.cautions, [&](const Caution& caution) {
    json.begin('{');
    json.member("id", caution.id);
    json.member("text", caution.text);
    json.end('}');
  });
  json.each("next_checks", report.next_checks, [&](const NextCheck& check) {
    json.begin('{');
    json.member("id", check.id);
    json.member("text", check.text);
    json.member("minutes", check.minutes, 1);
    json.member("gain_bits", check.gain_bits, words::kBitDigits);
    json.member("bits_per_minute",
                check.minutes > 0 ? std::optional(check.gain_bits / check.minutes) : std::nullopt,
                words::kBitDigits);
    json.each("grades_possible", check.grades_possible,
              [&](Grade grade) { json.text(name(grade)); });
    json.end('}');
  });
  json.each("would_change", report.would_change, [&](const WouldChange& change) {
    json.begin('{');
    json.each("findings", change.findings, [&](const auto& finding) {
      json.begin('{');
      json.member("finding", finding.first);
      json.member("value", finding.second);
      json.end('}');
    });
    json.member("shown", change.shown);
    json.member("grade", name(change.grade));
    json.end('}');
  });
  json.key("recheck");
  json.begin('{');
  json.member("km", report.recheck.km, 0);
  json.member("days", report.recheck.days, 0);
  json.key("overdue");
  json.flag(report.recheck.overdue);
  json.member("due_km", report.recheck.due_km, 0);
  json.member_or_null("due_date", report.recheck.due_date);
  json.member("because", report.recheck.because);
  json.end('}');
  json.each("due", report.due, [&](const Due& due) {
    json.begin('{');
    json.member("action", due.action);
    json.member("due_km", due.due_km, 0);
    json.member_or_null("due_date", due.due_date);
    json.key("overdue");
    json.flag(due.overdue);
    json.end('}');
  });
  if (!report.comebacks.empty()) {
    json.each("comebacks", report.comebacks, [&](const Comeback& c) {
      json.begin('{');
      json.member("id", c.id);
      json.member("did", spec(c.did).id);
      json.member_or_null("date", c.date);
      json.member("text", c.text);
      json.end('}');
    });
  }
  json.member("rebuild_outlook", report.rebuild_outlook);
  json.member_or_null("rebuild_outlook_text", report.rebuild_outlook_text);
}

template <typename Named>
void word_or_null(Writer& json, std::string_view key, Field field,
                  const std::optional<Named>& told) {
  json.member_or_null(key, told ? spec(field).choices[static_cast<std::size_t>(*told)].id : "");
}

// Where there is work on record, and else not.
void write_works(Writer& json, const std::vector<HistoryWork>& works) {
  json.each("works", works, [&](const HistoryWork& work) {
    json.begin('{');
    json.member("did", spec(work.did).id);
    json.member("text", spec(work.did).plain);
    json.member_or_null("date", work.date);
    json.member("odometer_km", work.odometer_km, 0);
    word_or_null(json, "material", Field::work_material, work.material);
    json.key("keeps_crossover");
    work.keeps_crossover ? json.flag(*work.keeps_crossover) : json.null();
    word_or_null(json, "by", Field::work_by, work.by);
    json.member_or_null("note", work.note);
    json.member("told_on", work.told_on);
    json.end('}');
  });
}

void write_rest(Writer& json, const Report& report) {
  json.key("history");
  json.begin('{');
  json.each("earlier", report.history.earlier, [&](const HistoryEntry& entry) {
    json.begin('{');
    json.member("date", entry.date);
    json.member("odometer_km", entry.odometer_km, 0);
    json.member("grade", name(entry.grade));
    json.member("risk", entry.risk, words::kProbabilityDigits);
    json.end('}');
  });
  json.each("events", report.history.events, [&](const HistoryEvent& event) {
    json.begin('{');
    json.member("id", event.id);
    json.member("text", event.text);
    json.member("odometer_km", event.odometer_km, 0);
    json.member("date", event.date);
    json.end('}');
  });
  if (!report.history.works.empty()) {
    write_works(json, report.history.works);
  }
  if (!report.history.taken_out.empty()) {
    json.each("taken_out", report.history.taken_out, [&](const HistoryTaken& t) {
      json.begin('{');
      json.member("did", t.replaced ? "replaced" : "withdrawn");
      json.member("date", t.date);
      json.member("sha256", t.sha256);
      json.member_or_null("on", t.on);
      json.member_or_null("because", t.because);
      json.member_or_null("by", t.by);
      json.texts("adverse", t.adverse);
      json.member("text", t.text);
      json.end('}');
    });
  }
  json.each("compared", report.history.compared, [&](const Comparison& c) {
    json.begin('{');
    json.member("with", c.with);
    json.member("since_what", c.since_what);
    json.member("grade_before", name(c.grade_before));
    json.each("findings", c.findings, [&](const FindingChange& f) {
      json.begin('{');
      json.member("finding", f.finding);
      json.member_or_null("before", f.before);
      json.member_or_null("now", f.now);
      json.member("kind", f.kind);
      json.member("shown", f.shown);
      json.end('}');
    });
    json.member("began", c.began, words::kProbabilityDigits);
    json.member("reading", c.reading);
    json.member("text", c.text);
    json.end('}');
  });
  json.member_or_null("change", report.history.change);
  json.end('}');
  json.texts("warnings", report.warnings);
  json.member_or_null("note", report.note);
  if (!report.photos.empty()) {
    json.each("photos", report.photos, [&](const PhotoShown& photo) {
      json.begin('{');
      json.member("name", photo.name);
      json.member("date", photo.date);
      json.member("text", photo.text);
      json.end('}');
    });
  }
  json.texts("owner_summary", report.owner_summary);
  json.member("whereabouts", name(report.whereabouts));
  if (report.left) {
    json.key("left");
    json.begin('{');
    json.member("did", spec(report.left->did).id);
    json.member("date", report.left->date);
    json.member_or_null("note", report.left->note);
    json.end('}');
  }
  if (report.audience == Audience::owner) {
    json.member_or_null("buying", report.buying);
    json.member("driving", report.driving);
    json.member("charging", report.charging);
    json.member_or_null("moving", report.moving);
    json.member("tell", report.tell);
  }
}

}  // namespace

std::string_view name(Whereabouts whereabouts) {
  constexpr std::string_view kNames[] = {"in-use", "for-sale", "core", "opened"};
  return kNames[static_cast<std::size_t>(whereabouts)];
}

std::string to_json(const Report& report, const Wanted& wanted) {
  Writer json;
  json.begin('{');
  write_basis(json, report);
  write_verdict(json, report);
  write_advice(json, report);
  write_rest(json, report);
  if (wanted.worse_since) {
    json.member("was", was(report, *wanted.worse_since));
  }
  json.end('}');
  return json.take();
}

}  // namespace dryshaft
