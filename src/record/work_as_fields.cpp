#include "record/work_as_fields.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/index.hpp"
#include "record/events.hpp"
#include "record/identity.hpp"
#include "record/look.hpp"
#include "vocabulary/order.hpp"

namespace dryshaft {
namespace {

// A car goes no further in a day, over the days between work and the next look [judgement]: what
// has no distance of its own is put so far back that the seal is rather too old than too new.
constexpr double kMostKmPerDay = 200;

Value& value(Record& r, Field field) { return r.values[idx(field)]; }

// The field that says the same as the work, if there is one.
std::optional<Field> field_of(Did did) {
  switch (did) {
    case Did::seal_renewed:
      return Field::seal_renewed_odometer_km;
    case Did::unit_replaced:
      return Field::fitted_odometer_km;
    case Did::rotor_bearings_renewed:
      return Field::rotor_bearings;
    case Did::gear_bearings_renewed:
      return Field::gear_bearings;
    case Did::rotor_circuit_bypassed:
    case Did::rotor_circuit_restored:
      return Field::rotor_cooling;
    default:
      return std::nullopt;
  }
}

bool is_distance(Field field) {
  return field == Field::seal_renewed_odometer_km || field == Field::fitted_odometer_km;
}

template <typename Code>
Value coded(Code code) {
  return {.observed = true, .code = static_cast<std::uint16_t>(code)};
}

// What field and work say together.
struct Settled {
  Value value;
  bool contradicted = false;
};

Settled settled(Field field, const Value& own, const Value& work, bool in_one_record) {
  if (is_distance(field)) {
    if (std::abs(own.number - work.number) <= kSameReadingKm) {
      return {work};
    }
    if (own.number > work.number && !in_one_record) {
      return {own};  // once more, and told by the field alone
    }
    return {{.observed = true, .number = std::min(own.number, work.number)}, true};
  }
  if (own.code == work.code) {
    return {own};
  }
  if (field == Field::rotor_cooling) {
    return {coded(Cooling::wet), true};
  }
  if (field == Field::bypass_keeps_crossover) {
    return {coded(false), true};
  }
  const bool not_told = work.code == static_cast<std::uint16_t>(Bearings::unknown);
  return not_told ? Settled{own} : Settled{coded(Bearings::unknown), true};
}

bool tells(const Record& r, Field field) {
  return std::ranges::any_of(r.work, [field](const Work& w) {
    const bool crossover = field == Field::bypass_keeps_crossover && w.keeps_crossover.has_value();
    return !w.misplaced && (crossover || field_of(w.did) == field);
  });
}

// The records of one unit, oldest first.
class Teller {
 public:
  // Of a replaced unit, or of all other work.
  Teller(std::span<Record* const> records, bool replaced, std::vector<Diagnostic>& warnings)
      : records_(records), replaced_(replaced), warnings_(warnings), work_(records.size()) {}

  void tell() {
    const std::vector<const Record*> all(records_.begin(), records_.end());
    const UnitEvents events = unit_events(all);
    if (!replaced_) {
      doubt(events);
    }
    place(events.happened);
    for (std::size_t i = 0; i < records_.size(); ++i) {
      for (const Told told : {Told::work_before_look, Told::work_after_look}) {
        for (const Done& done : work_[i]) {
          if (done.told == told) {
            apply(done, i);
          }
        }
        if (told == Told::work_before_look) {
          reconcile(i);
        }
      }
      remember(i);
    }
  }

 private:
  struct Done {
    Work work;
    std::optional<double> km;
    Told told = Told::field;
  };

  void contradiction(std::size_t record, std::string_view id) {
    std::vector<std::string_view>& ids = records_[record]->contradictions;
    if (std::ranges::find(ids, id) == ids.end()) {
      ids.push_back(id);
    }
  }
  void warn(std::size_t record, std::string_view id, std::string_view pointer,
            std::string message) {
    Diagnostic& d = warnings_.emplace_back();
    d.severity = Severity::warning;
    d.code = id;
    d.source = records_[record]->source;
    d.line = records_[record]->line;
    d.pointer = pointer;
    d.message = std::move(message);
    contradiction(record, id);
  }

  // Of what cannot have been done so, what is worse counts all the same.
  void doubt(const UnitEvents& events) {
    for (const UnitEvent& e : events.doubted) {
      if (e.work->misplaced) {  // and that has been complained of
        contradiction(e.record, kMisplacedWork);
      } else {
        warn(e.record, kMisplacedWork, kWorkPointer,
             fmt::format("says {} on {} at {:.9g} km, which the readings around that day do not "
                         "allow: it does not count as done",
                         spec(e.work->did).id, date_text(*e.day), *e.km));
      }
      if (e.work->did == Did::rotor_circuit_restored) {
        work_[e.record].push_back({*e.work, {}, Told::work_before_look});
      }
    }
    for (const UnitEvent& e : events.happened) {
      if (e.disagrees) {
        warn(e.record, kWorkToldTwoWays, kWorkPointer,
             fmt::format("tells details of {} that another entry tells otherwise: they count as "
                         "not known",
                         spec(e.work->did).id));
      }
    }
  }

  void place(const std::vector<UnitEvent>& happened) {
    // The first look with a reading from each event on.
    std::vector<const UnitEvent*> next(happened.size() + 1, nullptr);
    for (std::size_t i = happened.size(); i-- > 0;) {
      next[i] = !happened[i].work && happened[i].km ? &happened[i] : next[i + 1];
    }
    std::optional<double> last;
    for (std::size_t i = 0; i < happened.size(); ++i) {
      const UnitEvent& e = happened[i];
      if (e.work && field_of(e.work->did) && (e.work->did == Did::unit_replaced || !replaced_)) {
        place(e, e.km ? e.km : at_least(e, last, next[i]));
      } else if (!e.work) {
        last = e.km ? e.km : last;
      }
    }
  }

  void place(const UnitEvent& e, std::optional<double> km) {
    const std::size_t before = e.looks_before;
    Done done{*e.work, km, Told::work_before_look};
    const bool on_its_day =
        before > 0 && e.day && *e.day == records_[before - 1]->at(Field::date).number;
    // Coolant in a rotor that has been bypassed would be no contradiction: the look came first.
    if (on_its_day &&
        !(e.work->did == Did::rotor_circuit_bypassed && found_coolant(*records_[before - 1]))) {
      done.told = Told::work_after_look;
      work_[before - 1].push_back(std::move(done));
    } else if (before < records_.size()) {
      work_[before].push_back(std::move(done));
    }
  }

  static bool found_coolant(const Record& r) {
    const PortLook look = look_at_port(r);
    return may_be_coolant(look.fluid, look.kind) && look.kind == FluidKind::coolant;
  }

  static std::optional<double> at_least(const UnitEvent& e, std::optional<double> last,
                                        const UnitEvent* next) {
    if (next == nullptr || !e.day) {
      return last;
    }
    return std::max(last.value_or(0), *next->km - kMostKmPerDay * (*next->day - *e.day));
  }

  void apply(const Done& done, std::size_t i) {
    const Did did = done.work.did;
    if (did == Did::unit_replaced && !replaced_) {
      another_unit(done, i);
      return;
    }
    if (perhaps_before_fitting(done, i)) {
      return;
    }
    const Field field = *field_of(did);
    Value v{.observed = true, .told = done.told};
    if (is_distance(field)) {
      if (!done.km) {
        return;  // nothing that could be counted from
      }
      v.number = *done.km;
    } else if (field == Field::rotor_cooling) {
      const bool bypassed = did == Did::rotor_circuit_bypassed;
      v.code = coded(bypassed ? Cooling::bypassed : Cooling::wet).code;
    } else {
      v.code = coded(done.work.material.value_or(Bearings::unknown)).code;
    }
    put(field, v, i);
    if (done.work.keeps_crossover) {
      put(Field::bypass_keeps_crossover,
          {.observed = true, .told = done.told, .code = coded(*done.work.keeps_crossover).code}, i);
    }
  }

  // Whether it may have been done to the unit that was there before the one of which the record
  // itself says when it went in.
  [[nodiscard]] bool perhaps_before_fitting(const Done& done, std::size_t i) const {
    const Value& fitted = records_[i]->at(Field::fitted_odometer_km);
    const Value& before = last_[idx(Field::odometer_km)];
    return done.told == Told::work_before_look && fitted.observed && fitted.told == Told::field &&
           before.observed && before.number < fitted.number &&
           (!done.km || *done.km < fitted.number);
  }

  void put(Field field, Value v, std::size_t i) {
    Value& own = value(*records_[i], field);
    // What a look found before the work on its day is another thing than what the work left.
    if (own.observed && own.told == Told::field &&
        (v.told == Told::work_before_look || tells(*records_[i], field))) {
      v = settle(field, own, v, i);
    }
    own = v;
    known_[idx(field)] = v;
  }

  Value settle(Field field, const Value& own, const Value& work, std::size_t i) {
    const Settled s = settled(field, own, work, tells(*records_[i], field));
    if (s.contradicted) {
      warn(i, kWorkToldTwoWays, spec(field).pointer,
           "is not what the work on record tells: the worse of the two counts");
    }
    return s.value;
  }

  // The fields of a record against the work that was placed earlier.
  void reconcile(std::size_t i) {
    for (std::size_t f = 0; f < kFieldCount; ++f) {
      Value& own = records_[i]->values[f];
      std::optional<Value>& work = known_[f];
      if (!work || !own.observed || own.told != Told::field) {
        continue;
      }
      const auto field = static_cast<Field>(f);
      const Value v = settle(field, own, *work, i);
      // Said before, and there it says between which looks.
      own = is_distance(field) && v.told != Told::field ? Value{} : v;
      work = v;
    }
  }

  // How the old one was cooled and what bearings it had says nothing about it.
  void another_unit(const Done& done, std::size_t i) {
    known_ = {};
    const auto forget = [&](Field field, Value otherwise) {
      Value& own = value(*records_[i], field);
      const bool of_work = own.observed && own.told != Told::field;
      if (of_work ||
          (last_[idx(field)].observed && (!own.observed || done.told == Told::work_after_look))) {
        own = otherwise;
        own.told = done.told;
      }
    };
    if (done.told == Told::work_after_look) {
      remember(i);
    }
    const Value& cooling = records_[i]->at(Field::rotor_cooling);
    if (last_[idx(Field::rotor_cooling)].code != 0 || cooling.told != Told::field) {
      forget(Field::rotor_cooling, coded(Cooling::wet));
    }
    forget(Field::rotor_bearings, coded(Bearings::unknown));
    forget(Field::gear_bearings, coded(Bearings::unknown));
  }

  void remember(std::size_t i) {
    for (std::size_t f = 0; f < kFieldCount; ++f) {
      if (records_[i]->values[f].observed) {
        last_[f] = records_[i]->values[f];
      }
    }
  }

  std::span<Record* const> records_;
  bool replaced_;
  std::vector<Diagnostic>& warnings_;
  std::vector<std::vector<Done>> work_;                  // by record
  std::array<std::optional<Value>, kFieldCount> known_;  // as work so far tells it
  std::array<Value, kFieldCount> last_{};                // of the records so far
};

}  // namespace

std::vector<Diagnostic> tell_work_as_fields(History& history) {
  std::vector<Diagnostic> warnings;
  if (std::ranges::all_of(history.records, [](const Record& r) { return r.work.empty(); })) {
    return warnings;
  }
  std::vector<Record*> all;
  for (Record& r : history.records) {
    all.push_back(&r);
  }
  // First, for by it one unit is told from the next.
  Teller(all, true, warnings).tell();
  std::vector<std::vector<Record*>> units;
  Identities identities;
  for (Record& r : history.records) {
    const std::size_t unit = identities.add(r);
    units.resize(std::max(units.size(), unit + 1));
    units[unit].push_back(&r);
  }
  for (const std::vector<Record*>& unit : units) {
    Teller(unit, false, warnings).tell();
  }
  return warnings;
}

}  // namespace dryshaft
