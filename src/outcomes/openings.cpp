// From histories to openings: what the grader could know, and what was found.
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "base/complaints.hpp"
#include "base/index.hpp"
#include "diagnose/present.hpp"
#include "dryshaft/outcomes.hpp"

namespace dryshaft {
namespace {

bool tells_of_opening(const Record& r) {
  return r.has(Field::teardown_date) ||
         std::ranges::any_of(causes(), [&](const CauseSpec& c) { return r.has(c.teardown); });
}

// The day on which a unit was opened; without one, that of the inspection.
int day_of_opening(const Record& r) {
  return static_cast<int>(
      r.at(r.has(Field::teardown_date) ? Field::teardown_date : Field::date).number);
}

void forget(Record& r, Field field) { r.values[idx(field)] = {}; }

void forget_opening(Record& r) {
  forget(r, Field::teardown_date);
  for (const CauseSpec& c : causes()) {
    forget(r, c.teardown);
  }
}

// Whether the seal was renewed where this record was written, and not long before.
bool renewed_here(const Record& r, std::span<const Record> earlier) {
  const Value& renewed = r.at(Field::seal_renewed_odometer_km);
  if (!renewed.observed) {
    return false;
  }
  const bool known_before = std::ranges::any_of(earlier, [&](const Record& e) {
    const Value& then = e.at(Field::seal_renewed_odometer_km);
    return then.observed && then.number >= renewed.number;
  });
  const Value& odometer = r.at(Field::odometer_km);
  return !known_before && !(odometer.observed && renewed.number < odometer.number);
}

// The unit as it was put together again.
void forget_rebuild(Record& r) {
  for (const Field field :
       {Field::seal_renewed_odometer_km, Field::rotor_bearings, Field::gear_bearings,
        Field::rotor_cooling, Field::bypass_keeps_crossover}) {
    forget(r, field);
  }
}

class Collector {
 public:
  explicit Collector(const Knowledge& knowledge) : k_(knowledge) {}

  void add(const History& history) {
    std::map<int, std::vector<const Record*>> days;
    for (const Record& r : history.records) {
      if (tells_of_opening(r)) {
        days[day_of_opening(r)].push_back(&r);
      }
    }
    for (const auto& [day, records] : days) {
      add(history, day, records);
    }
  }

  Openings take() { return std::move(out_); }

 private:
  void add(const History& history, int day, const std::vector<const Record*>& told) {
    Opening o;
    o.unit_id = history.unit_id;
    o.date = day;
    o.source = told.front()->source;
    o.line = told.front()->line;
    o.record_sha256 = told.front()->sha256;
    findings_of(told, o);
    if (o.examined == 0) {
      ++out_.nothing_examined;
      return;
    }
    const History before = seen_before(history, day);
    if (before.records.empty()) {
      ++out_.not_seen_before;
      return;
    }
    o.facts = present(before, before.records.size(), k_, day).facts;
    out_.openings.push_back(std::move(o));
  }

  void findings_of(const std::vector<const Record*>& told, Opening& o) {
    for (const CauseSpec& c : causes()) {
      const Record* first = nullptr;
      bool agreed = true;
      for (const Record* r : told) {
        if (!r->has(c.teardown)) {
          continue;
        }
        if (first == nullptr) {
          first = r;
        } else if (first->at(c.teardown).code != r->at(c.teardown).code) {
          agreed = false;
          disagreement(*r, *first, c);
        }
      }
      if (first != nullptr && agreed) {
        o.examined |= 1U << idx(c.id);
        o.found |= first->at(c.teardown).code != 0 ? 1U << idx(c.id) : 0U;
      }
    }
  }

  void disagreement(const Record& record, const Record& other, const CauseSpec& cause) {
    Diagnostic d;
    d.severity = Severity::warning;
    d.code = "openings-disagree";
    d.source = record.source;
    d.line = record.line;
    d.pointer = spec(cause.teardown).pointer;
    d.message =
        fmt::format("is not what {}:{} says of the same teardown, and counts as not examined",
                    other.source, other.line);
    add_complaint(out_.diagnostics, std::move(d));
  }

  static History seen_before(const History& history, int day) {
    History before{history.unit_id, {}, {}};
    for (std::size_t i = 0; i < history.records.size(); ++i) {
      if (static_cast<int>(history.records[i].at(Field::date).number) > day) {
        break;  // oldest first
      }
      Record r = history.records[i];
      const bool here = renewed_here(r, before.records);
      if (tells_of_opening(r) && day_of_opening(r) >= day) {
        forget_opening(r);
        if (here) {
          forget_rebuild(r);
        }
      } else if (here && static_cast<int>(r.at(Field::date).number) == day) {
        continue;  // looked at after the work
      }
      before.records.push_back(std::move(r));
      before.refused.push_back(history.refused[i]);
    }
    return before;
  }

  const Knowledge& k_;
  Openings out_;
};

}  // namespace

Openings openings_of(std::span<const History> histories, const Knowledge& knowledge) {
  Collector collector(knowledge);
  for (const History& h : histories) {
    collector.add(h);
  }
  return collector.take();
}

}  // namespace dryshaft
