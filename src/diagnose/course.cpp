#include "diagnose/course.hpp"

#include <algorithm>
#include <limits>

#include "base/index.hpp"
#include "record/events.hpp"
#include "record/look.hpp"

namespace dryshaft {
namespace {

constexpr double kNoLimit = std::numeric_limits<double>::infinity();

// What work ends; nothing: it bears on no cause.
std::uint8_t ended_by(Did did) {
  const auto bit = [](Cause c) { return static_cast<std::uint8_t>(1U << idx(c)); };
  switch (did) {
    case Did::rotor_bearings_renewed:
      return bit(Cause::rotor_bearing_corrosion) | bit(Cause::rotor_bearing_erosion);
    case Did::gear_bearings_renewed:
      return bit(Cause::gear_bearing_erosion);
    case Did::winding_dried:
    case Did::major_parts_replaced:
      return bit(Cause::insulation_loss);
    case Did::noise_repaired_elsewhere:
      return bit(Cause::outside_noise);
    default:
      return 0;
  }
}

// Something that happened between looks.
struct Step {
  std::size_t before = 0;  // of the records
  std::optional<double> km = {};
  std::optional<int> day = {};
  bool by_distance = false;  // that is all that is told of it
  bool new_seal = false;
  std::uint8_t ends = 0;
  std::optional<Bearings> rotor = {};  // new bearings of this material
  std::optional<Bearings> gear = {};
  std::optional<bool> bypassed = {};
};

class Writer {
 public:
  Writer(std::span<const Record> records, std::span<const UnitEvent> works, const Standing& unit,
         double km_per_year)
      : records_(records), works_(works), unit_(unit), km_per_year_(km_per_year) {
    readings();
  }

  CourseToNow write(std::span<const PastLook> looks) {
    steps();
    legs_.reserve(looks.size() + steps_.size() + 1);
    begin(looks.empty() ? unit_.newest : looks.front().record);
    auto step = steps_.begin();
    const auto work_before = [&](std::size_t record) {
      for (; step != steps_.end() && step->before <= record; ++step) {
        work(*step, record);
      }
    };
    for (const PastLook& look : looks) {
      work_before(look.record);
      Leg& leg = drive_to(km_[look.record], years_at(look.record));
      field_bypass(leg, look.record);
      leg.seen = look.seen;
      leg.look = look.record;
    }
    work_before(records_.size());
    return end();
  }

 private:
  // Every record has a distance: its own, or, between two that have, by the day.
  void readings() {
    km_.assign(records_.size(), 0);
    std::optional<std::size_t> last;
    for (std::size_t i = 0; i < records_.size(); ++i) {
      const bool newest = i + 1 == records_.size();
      if (!records_[i].has(Field::odometer_km) && !newest) {
        continue;
      }
      km_[i] = newest ? unit_.odometer_km : records_[i].at(Field::odometer_km).number;
      if (last) {
        km_[i] = std::max(km_[i], km_[*last]);
      }
      const int day = day_of(records_[i]);
      for (std::size_t j = last ? *last + 1 : 0; j < i; ++j) {
        const double days = day - day_of(records_[j]);
        if (last) {
          const double all = std::max(1, day - day_of(records_[*last]));
          km_[j] = km_[i] - (km_[i] - km_[*last]) * std::min(1.0, days / all);
        } else {
          km_[j] = std::max(unit_.fitted_km, km_[i] - days / kDaysPerYear * km_per_year_);
        }
      }
      last = i;
    }
  }

  // Age of the unit at a record.
  [[nodiscard]] double years_at(std::size_t record) const {
    const int day = day_of(records_[record]);
    if (unit_.built) {
      return std::max(0, month_of(day) - *unit_.built) / 12.0;
    }
    return first_years_ + (day - first_day_) / kDaysPerYear;
  }

  void begin(std::size_t first) {
    first_day_ = day_of(records_[first]);
    first_years_ = std::max(0.0, km_[first] - unit_.fitted_km) / km_per_year_;
    at_km_ = unit_.fitted_km;
    clock_.cooling = unit_.cooling == Cooling::bypassed ? Cooling::wet : unit_.cooling;
    clock_.rotor = at_first(&Step::rotor, Field::rotor_bearings, unit_.rotor, unit_.rotor_built);
    clock_.gear = at_first(&Step::gear, Field::gear_bearings, unit_.gear, unit_.gear_built);
  }

  // What bearings it had before any were renewed: as a record says from before that, else as built.
  [[nodiscard]] Bearings at_first(std::optional<Bearings> Step::*renewed, Field field, Bearings now,
                                  Bearings built) const {
    const auto work =
        std::ranges::find_if(steps_, [&](const Step& s) { return (s.*renewed).has_value(); });
    if (work == steps_.end()) {
      return now;
    }
    Bearings first = built;
    for (std::size_t i = unit_.first; i < std::min(work->before, records_.size()); ++i) {
      const Value& v = records_[i].at(field);
      first = v.observed && v.told == Told::field ? static_cast<Bearings>(v.code) : first;
    }
    return first;
  }

  Leg& drive_to(double km, double years) {
    Leg& leg = legs_.emplace_back();
    leg.seen.fill(-1);
    leg.from = clock_;
    const double further = std::max(0.0, km - at_km_);
    const double longer = std::max(0.0, years - at_years_);
    clock_ = clock_.later(further, longer);
    at_km_ += further;
    at_years_ += longer;
    leg.to = clock_;
    return leg;
  }

  // Work that is on record, and a new seal that a record tells of by its distance alone.
  void steps() {
    told_by_distance();
    told_by_work();
    std::erase_if(steps_, [&](const Step& s) { return perhaps_before_fitting(s); });
    // None later than the newest look.
    for (Step& s : steps_) {
      s.before = std::min(s.before, unit_.newest);
    }
    // Work stands in its order already. A seal of which only the distance is told comes before the
    // first work that is known to be later.
    std::vector<Step> in_order;
    std::vector<Step> told;
    for (Step& s : steps_) {
      (s.by_distance ? told : in_order).push_back(s);
    }
    for (const Step& seal : told) {
      const auto later = std::ranges::find_if(in_order, [&](const Step& s) {
        return s.before != seal.before ? s.before > seal.before : s.km && *s.km > *seal.km;
      });
      in_order.insert(later, seal);
    }
    steps_ = std::move(in_order);
  }

  // Whether a step may be one of the unit that was there before: between the last look at that one
  // and the first at this one, a day alone tells nothing where no work tells of the fitting.
  [[nodiscard]] bool perhaps_before_fitting(const Step& s) const {
    if (s.before < unit_.first || (s.km && *s.km < unit_.fitted_km)) {
      return true;
    }
    return !s.km && s.before == unit_.first && unit_.first > 0 && !fitting_in_order_;
  }

  void told_by_distance() {
    std::vector<double> at_most(records_.size());
    double bound = kNoLimit;
    for (std::size_t i = records_.size(); i-- > 0;) {
      bound =
          records_[i].has(Field::odometer_km) ? records_[i].at(Field::odometer_km).number : bound;
      at_most[i] = bound;
    }
    std::optional<double> renewed;
    for (const Record& r : records_.subspan(unit_.first)) {
      const Value& v = r.at(Field::seal_renewed_odometer_km);
      if (!v.observed || v.number == renewed) {
        continue;
      }
      renewed = v.number;
      if (v.told == Told::field && v.number <= unit_.odometer_km) {
        const auto after = std::ranges::find_if(at_most, [&](double km) { return km > v.number; });
        steps_.push_back({.before = static_cast<std::size_t>(after - at_most.begin()),
                          .km = v.number,
                          .by_distance = true,
                          .new_seal = true});
      }
    }
  }

  void told_by_work() {
    const std::size_t told = steps_.size();
    for (const UnitEvent& e : works_) {
      if (e.work->did == Did::unit_replaced) {
        steps_.resize(told);
        fitting_in_order_ = e.looks_before == unit_.first;
        continue;
      }
      Step step{.before = e.looks_before, .km = e.km, .day = e.day};
      step.new_seal = e.work->did == Did::seal_renewed;
      step.ends = ended_by(e.work->did);
      const Bearings material = e.work->material.value_or(Bearings::unknown);
      if (e.work->did == Did::rotor_bearings_renewed) {
        step.rotor = material;
      } else if (e.work->did == Did::gear_bearings_renewed) {
        step.gear = material;
      } else if (e.work->did == Did::rotor_circuit_bypassed) {
        step.bypassed = true;
      } else if (e.work->did == Did::rotor_circuit_restored) {
        step.bypassed = false;
      }
      if (step.new_seal || step.ends != 0 || step.bypassed) {
        steps_.push_back(step);
      }
    }
  }

  void work(const Step& step, std::size_t next) {
    const std::size_t record = std::min(next, unit_.newest);
    double km = km_[record];
    double years = years_at(record);
    const double way = km - at_km_;
    const double time = years - at_years_;
    if (step.day && *step.day < day_of(records_[record])) {
      years -= (day_of(records_[record]) - *step.day) / kDaysPerYear;
      km = step.km    ? *step.km
           : time > 0 ? at_km_ + way * std::max(0.0, years - at_years_) / time
                      : km;
    } else if (step.km && *step.km < km) {
      years = way > 0 ? at_years_ + time * std::max(0.0, *step.km - at_km_) / way : years;
      km = *step.km;
    }
    Leg& leg = drive_to(km, years);
    leg.new_seal = step.new_seal;
    leg.ends = step.ends;
    if (step.new_seal) {
      clock_.seal_km = clock_.seal_years = 0;
    }
    if (step.rotor) {
      clock_.rotor_km = 0;
      clock_.rotor = *step.rotor;
    }
    if (step.gear) {
      clock_.gear_km = 0;
      clock_.gear = *step.gear;
    }
    if (step.bypassed && !unit_.contradicted) {
      bypass(leg, *step.bypassed);
      bypass_known_ = true;
    }
  }

  void bypass(Leg& leg, bool bypassed) {
    clock_.cooling = bypassed ? Cooling::bypassed : Cooling::wet;
    if (bypassed) {
      leg.ends |= static_cast<std::uint8_t>(1U << idx(Cause::seal_leak));
    }
  }

  // A record that says so, with no work that tells when.
  void field_bypass(Leg& leg, std::size_t record) {
    const Value& cooling = records_[record].at(Field::rotor_cooling);
    const bool bypassed =
        cooling.observed && static_cast<Cooling>(cooling.code) == Cooling::bypassed;
    if (bypassed && clock_.cooling == Cooling::wet && !bypass_known_ && !unit_.contradicted) {
      leg.bypassed_on_the_way = true;
      leg.to.cooling = clock_.cooling = Cooling::bypassed;
    }
  }

  CourseToNow end() {
    CourseToNow out;
    const std::size_t newest = records_.size() - 1;
    // The last way, which the newest look ends, is driven by whoever asks what that look says.
    if (!legs_.empty() && unit_.cooling == Cooling::bypassed &&
        clock_.cooling != Cooling::bypassed) {
      Leg& leg = drive_to(km_[newest], years_at(newest));
      leg.bypassed_on_the_way = true;
      leg.to.cooling = clock_.cooling = Cooling::bypassed;
    }
    clock_.cooling = unit_.cooling;
    clock_.rotor = unit_.rotor;
    clock_.gear = unit_.gear;
    out.course.end = clock_;
    out.now = clock_.later(std::max(0.0, km_[newest] - at_km_),
                           std::max(0.0, years_at(newest) - at_years_));
    out.course.legs = std::move(legs_);
    return out;
  }

  std::span<const Record> records_;
  std::span<const UnitEvent> works_;
  const Standing& unit_;
  double km_per_year_;
  std::vector<double> km_;  // odometer at each record
  std::vector<Step> steps_;
  int first_day_ = 0;
  double first_years_ = 0;
  double at_km_ = 0;  // odometer
  double at_years_ = 0;
  bool bypass_known_ = false;
  bool fitting_in_order_ = false;
  Clock clock_;
  std::vector<Leg> legs_;
};

}  // namespace

CourseToNow course_of(std::span<const Record> records, std::span<const UnitEvent> works,
                      std::span<const PastLook> looks, const Standing& unit, double km_per_year) {
  return Writer(records, works, unit, km_per_year).write(looks);
}

}  // namespace dryshaft
