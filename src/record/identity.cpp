#include "record/identity.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace dryshaft {
namespace {

constexpr int kMonths = 12;

// Of the month, or the year, in which a unit was built.
int first_day(const Value& built) {
  const int months = static_cast<int>(built.number);
  return days_from_date(months / kMonths, months % kMonths + 1, 1);
}

// What cannot be right beside the rest of the record says nothing.
const Value* built_of(const Record& record) {
  const Value& built = record.at(Field::built);
  return built.observed && !built_too_late(record) ? &built : nullptr;
}
const Value* fitted_of(const Record& record) {
  const Value& fitted = record.at(Field::fitted_odometer_km);
  const Value& reading = record.at(Field::odometer_km);
  return fitted.observed && !(reading.observed && fitted.number > reading.number) ? &fitted
                                                                                  : nullptr;
}

bool fitted_after(const Record& record, double reading) {
  const Value* fitted = fitted_of(record);
  return fitted != nullptr &&
         (fitted->told == Told::work_before_look || (reading >= 0 && fitted->number > reading));
}

std::string_view family_of(const Record& record) {
  return record.family == kGenericFamily ? std::string_view() : std::string_view(record.family);
}

bool differ(std::string_view a, std::string_view b) { return !a.empty() && !b.empty() && a != b; }

}  // namespace

bool built_too_late(const Record& record) {
  return record.has(Field::built) && record.has(Field::date) &&
         first_day(record.at(Field::built)) > record.at(Field::date).number;
}

bool built_after(const Record& record, int day) {
  const Value* built = built_of(record);
  return built != nullptr && first_day(*built) > day;
}

std::string_view Identities::difference(const Unit& unit, const Record& record) {
  const Value* built = built_of(record);
  if (built != nullptr && unit.built_first) {
    const int first = static_cast<int>(built->number);
    const int last = built->code != 0 ? first + kMonths - 1 : first;
    if (last < *unit.built_first || first > unit.built_last) {
      return "the build date";
    }
  }
  if (differ(unit.family, family_of(record))) {
    return "the family";
  }
  if (differ(unit.vehicle, record.vehicle)) {
    return "the vehicle";
  }
  const Value* fitted = fitted_of(record);
  if (fitted != nullptr && unit.fitted &&
      std::abs(fitted->number - *unit.fitted) > kSameReadingKm) {
    return "the odometer reading at which it was fitted";
  }
  return {};
}

void Identities::learn(Unit& unit, const Record& record) {
  const Value* built = built_of(record);
  if (built != nullptr && (!unit.built_first || unit.built_last > *unit.built_first)) {
    const int first = static_cast<int>(built->number);
    const int last = built->code != 0 ? first + kMonths - 1 : first;
    unit.built_last = unit.built_first ? std::min(last, unit.built_last) : last;
    unit.built_first = std::max(first, unit.built_first.value_or(first));
  }
  unit.family = family_of(record).empty() ? unit.family : family_of(record);
  unit.vehicle = record.vehicle.empty() ? unit.vehicle : std::string_view(record.vehicle);
  const Value* fitted = fitted_of(record);
  if (fitted != nullptr && !unit.fitted) {
    unit.fitted = fitted->number;
  }
  const Value& reading = record.at(Field::odometer_km);
  unit.reading = reading.observed ? std::max(unit.reading, reading.number) : unit.reading;
}

std::size_t Identities::add(const Record& record) {
  const std::size_t index = count_++;
  std::size_t found = units_.size();
  std::string_view first_difference;
  for (std::size_t i = last_.size(); i-- > 0 && found == units_.size();) {
    Unit& unit = units_[last_[i]];
    if (fitted_after(record, unit.reading)) {
      unit = Unit{};
      found = last_[i];
      break;
    }
    const std::string_view in = difference(unit, record);
    if (in.empty()) {
      found = last_[i];
    } else if (i + 1 == last_.size()) {
      first_difference = in;
    }
  }
  if (found == units_.size() && units_.size() == kMost) {
    found = kMost - 1;
  }
  if (found == units_.size()) {
    if (!last_.empty()) {
      differences_.push_back({index, units_[last_.back()].newest, first_difference});
    }
    units_.emplace_back();
  } else {
    std::erase(last_, found);
  }
  last_.push_back(found);
  learn(units_[found], record);
  if (record.at(Field::fitted_odometer_km).told == Told::work_after_look) {
    units_[found] = Unit{};  // the next record tells of the one that went in
  }
  units_[found].newest = index;
  return found;
}

std::string told(const Difference& difference, std::span<const Record> records) {
  const Record& a = records[difference.record];
  const Record& b = records[difference.other];
  return fmt::format("{}:{} and {}:{} have one id, but differ in {}", a.source, a.line, b.source,
                     b.line, difference.in);
}

}  // namespace dryshaft
