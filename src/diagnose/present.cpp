// From records to a case: what each record says, what carries over from
// earlier inspections, and where the records contradict themselves.
#include "diagnose/present.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <limits>
#include <map>

#include "base/index.hpp"
#include "base/sentence.hpp"
#include "diagnose/course.hpp"
#include "diagnose/joined.hpp"
#include "record/events.hpp"
#include "record/identity.hpp"
#include "record/look.hpp"
#include "vocabulary/levels.hpp"

namespace dryshaft {
namespace {

// Between which IEEE Std 43's rules for temperature hold (from memory).
constexpr double kColdestWindingC = 10;
constexpr double kWarmestWindingC = 85;

constexpr double kLowVoltage = 60;  // V d.c., at most; UN Regulation No. 100 (from memory)

// To so many digits, thousands separated: "0.4", "2,500", "125,000".
std::string to_digits(double value, int digits) {
  constexpr double kGrouped = 999.5;
  constexpr double kWhole = 1e15;
  if (!(value >= kGrouped && value < kWhole)) {
    return fmt::format("{:.{}g}", value, digits);
  }
  const double step = std::pow(10, std::floor(std::log10(value)) - (digits - 1));
  std::string text = fmt::format("{:.0f}", std::round(value / step) * step);
  for (std::size_t left = text.size(); left > 3;) {
    left -= 3;
    text.insert(left, 1, ',');
  }
  return text;
}

// What a new shaft seal does not mend: the winding, the gearbox bearings, and a
// noise that may be theirs.
bool outlives_seal(const FindingSpec& f) {
  return f.id == Finding::insulation || f.id == Finding::isolation_fault ||
         f.id == Finding::noise || f.detail_of == Finding::noise ||
         f.id == Finding::opened_insulation_loss || f.id == Finding::opened_gear_bearing_erosion;
}

// Bad news that does not go away by itself: from which level on, and the field of
// an opening that would tell what came of it.
struct Sign {
  Finding finding;
  int least;
  std::optional<Field> opened = {};
  bool with_coolant = false;   // counts where it was found together with liquid coolant
  bool bypass_ends = false;    // a bypass is the work that it calls for
  std::uint32_t ended_by = 0;  // work after which it is gone for a reason
};
constexpr Sign kSigns[] = {
    {.finding = Finding::isolation_fault,
     .least = level_of(Isolation::stored),
     .opened = Field::teardown_insulation_loss,
     .ended_by =
         bits_of(Did::fault_repaired_elsewhere, Did::winding_dried, Did::major_parts_replaced)},
    {.finding = Finding::insulation,
     .least = level_of(Insulation::below_500),
     .opened = Field::teardown_insulation_loss,
     .ended_by = bits_of(Did::winding_dried, Did::major_parts_replaced)},
    {.finding = Finding::rotation,
     .least = level_of(Rotation::stiff),
     .opened = Field::teardown_rotor_bearing_corrosion,
     .ended_by = bits_of(Did::rotor_bearings_renewed)},
    {.finding = Finding::port_debris,
     .least = level_of(Debris::chips),
     .opened = Field::teardown_rotor_bearing_corrosion,
     .ended_by = bits_of(Did::rotor_bearings_renewed)},
    {.finding = Finding::port_rust,
     .least = level_of(Rust::light),
     .ended_by = bits_of(Did::rotor_bearings_renewed)},
    {.finding = Finding::port_residue, .least = level_of(Presence::present), .bypass_ends = true},
    {.finding = Finding::port_fluid, .least = level_of(Fluid::pooled), .with_coolant = true},
    {.finding = Finding::noise,
     .least = level_of(Presence::present),
     .with_coolant = true,
     .ended_by = bits_of(Did::rotor_bearings_renewed, Did::noise_repaired_elsewhere)},
};

bool shows_coolant(const Case& c) {
  return may_be_coolant(named_level<Fluid>(c.at(Finding::port_fluid)),
                        named_level<FluidKind>(c.at(Finding::port_fluid_kind)));
}

// The unit was parted from the rest, and the fault stayed there.
bool isolation_elsewhere(const Record& r) {
  const Value& place = r.at(Field::fault_isolation_place);
  return place.observed && place.code == idx(FaultPlace::elsewhere);
}

std::uint16_t when_bit(std::string_view word) {
  const std::span<const Choice> words = spec(Field::noise_when).choices;
  const auto found = std::ranges::find(words, word, &Choice::id);
  return static_cast<std::uint16_t>(1U << static_cast<unsigned>(found - words.begin()));
}

// What one record says by itself.
struct Said {
  Case facts = empty_case();
  std::array<std::string, kFindingCount> detail;
  std::vector<std::string_view> contradictions;
  std::vector<std::string> warnings;
  bool port_made = false;  // checked, and its fluid recorded
};

class Interpreter {
 public:
  Interpreter(const Knowledge& k, double voltage, bool voltage_known)
      : k_(k), voltage_(voltage), voltage_known_(voltage_known) {}

  Said read(const Record& r) {
    said_ = Said{};
    port(r);
    noise(r);
    drive(r);
    insulation(r);
    teardown(r);
    return std::move(said_);
  }

 private:
  void set(Finding f, int level) { said_.facts.set(f, level); }
  [[nodiscard]] int at(Finding f) const { return said_.facts.at(f); }
  void contradiction(std::string_view id) { said_.contradictions.push_back(id); }

  void port(const Record& r) {
    PortLook look = look_at_port(r);
    set(Finding::port_fluid, level_of(look.fluid));
    set(Finding::port_fluid_kind, level_of(look.kind));
    set(Finding::port_residue, level_of(look.residue));
    set(Finding::port_rust, level_of(look.rust));
    set(Finding::port_debris, level_of(look.debris));
    said_.detail[idx(Finding::port_fluid_kind)] = std::move(look.kind_detail);
    said_.contradictions = std::move(look.contradictions);
    said_.warnings = std::move(look.warnings);
    said_.port_made = look.made;
  }

  void noise(const Record& r) {
    auto heard = named_level<Presence>(level_of_flag(r, Field::noise_present));
    const bool described = r.has(Field::noise_level) || r.has(Field::noise_onset) ||
                           r.has(Field::noise_onset_odometer_km) ||
                           (r.has(Field::noise_when) && r.at(Field::noise_when).code != 0) ||
                           is_true(r, Field::noise_pitch_follows_speed) ||
                           is_true(r, Field::noise_changes_with_steering_or_surface);
    if (described && heard != Presence::present) {
      if (heard == Presence::absent) {
        contradiction("noise-described-but-absent");
      }
      heard = Presence::present;
    }
    if (recorded_bearing(r) && heard != Presence::present) {
      if (heard == Presence::absent) {
        said_.warnings.emplace_back(
            "no noise was heard, but a recording shows lines of a bearing in the drive unit: it "
            "counts as a noise");
      }
      heard = Presence::present;
      said_.detail[idx(Finding::noise)] = "by the lines in a recording";
    }
    set(Finding::noise, level_of(heard));
    const Value& began = r.at(Field::noise_onset_odometer_km);
    const Value& odometer = r.at(Field::odometer_km);
    if (began.observed && odometer.observed && began.number > odometer.number) {
      contradiction("noise-before-it-began");
    }
    if (heard != Presence::present) {
      return;
    }
    if (r.has(Field::noise_when) && r.at(Field::noise_when).code != 0) {
      const unsigned when = r.at(Field::noise_when).code;
      const bool under_load =
          (when & when_bit("accelerating")) != 0 && (when & when_bit("coasting")) == 0;
      set(Finding::noise_load, level_of(under_load ? NoiseLoad::under_load : NoiseLoad::otherwise));
    }
    set(Finding::noise_pitch, level_of_flag(r, Field::noise_pitch_follows_speed));
    set(Finding::noise_outside, level_of_flag(r, Field::noise_changes_with_steering_or_surface));
    set(Finding::noise_onset, level_of_choice(r, Field::noise_onset, Finding::noise_onset));
    set(Finding::noise_level, level_of_choice(r, Field::noise_level, Finding::noise_level));
    recording(r);
  }

  // A recording tells what a noise is; without a noise there is nothing to tell.
  void recording(const Record& r) {
    for (const Finding f : {Finding::recorded_rotor_bearing, Finding::recorded_gear_bearing,
                            Finding::recorded_other, Finding::recorded_pattern}) {
      set(f, level_of_choice(r, spec(f).from.front(), f));
    }
  }

  // Whether a recording shows lines that fit a bearing, be it not alone: a noise,
  // also where nobody has heard one.
  static bool recorded_bearing(const Record& r) {
    return std::ranges::any_of(spec(Finding::recorded_pattern).needs_one_of, [&](Finding f) {
      return level_of_choice(r, spec(f).from.front(), f) > 0;
    });
  }

  void drive(const Record& r) {
    const int isolation = level_of_choice(r, Field::fault_isolation, Finding::isolation_fault);
    const bool apart = isolation == level_of(Isolation::stored) && isolation_elsewhere(r);
    set(Finding::isolation_fault, apart ? level_of(Isolation::elsewhere) : isolation);
    set(Finding::rotation, level_of_choice(r, Field::rotation, Finding::rotation));
    if (at(Finding::rotation) > 0 && r.has(Field::drag_elsewhere)) {
      set(Finding::drag_place,
          level_of(is_true(r, Field::drag_elsewhere) ? FaultPlace::elsewhere : FaultPlace::unit));
    }
    set(Finding::gear_oil, level_of_choice(r, Field::gear_oil, Finding::gear_oil));
    if (r.has(Field::fault_shutdown)) {
      const bool read = is_true(r, Field::fault_codes_read);
      set(Finding::shutdown, level_of(!is_true(r, Field::fault_shutdown) ? Shutdown::no
                                      : read                             ? Shutdown::explained
                                                                         : Shutdown::yes));
    }
    set(Finding::reduced_power, level_of_flag(r, Field::fault_reduced_power));
    if (is_true(r, Field::coolant_outside_leak_seen)) {
      set(Finding::outside_leak, level_of(Presence::present));
    }
    const Value& loss = r.at(Field::coolant_loss_ml_per_1000km);
    if (loss.observed && !is_true(r, Field::coolant_outside_leak_seen)) {
      const Settings& s = k_.settings;
      set(Finding::coolant_loss, level_of(loss.number >= s.loss_marked ? Loss::marked
                                          : loss.number >= s.loss_some ? Loss::some
                                                                       : Loss::none));
      said_.detail[idx(Finding::coolant_loss)] = fmt::format("{} ml per 1000 km", loss.number);
    } else if (loss.observed) {
      said_.detail[idx(Finding::outside_leak)] = fmt::format("{} ml per 1000 km", loss.number);
      said_.warnings.emplace_back(
          "the coolant loss is put down to the leak seen outside and says nothing about the shaft "
          "seal");
    }
  }

  // Per-volt limits as measured; the IEEE 43 minimum at 40 deg C by both
  // published temperature rules, of which the worse counts.
  void insulation(const Record& r) {
    const Value& measured = r.at(Field::insulation_resistance_mohm);
    if (!measured.observed) {
      return;
    }
    const Settings& s = k_.settings;
    const double mohm = measured.number;
    const double ohm_per_volt = mohm * 1e6 / voltage_;
    const Value& temperature = r.at(Field::insulation_winding_temp_c);
    const double celsius = temperature.observed ? temperature.number : s.assumed_winding_c;
    const double halving = mohm * insulation_halving_factor(celsius);
    const double thermosetting = mohm * insulation_thermosetting_factor(celsius);
    std::optional level = Insulation::sound;
    if (ohm_per_volt < s.ohm_per_volt_least) {
      level = Insulation::below_100;
    } else if (ohm_per_volt < s.ohm_per_volt_low) {
      level = Insulation::below_500;
    } else if (std::min(halving, thermosetting) < s.ieee43_mohm) {
      level = Insulation::below_ieee43;
    }
    said_.detail[idx(Finding::insulation)] = fmt::format(
        "{} megohm winding to housing, phases joined: {} ohm/V at {:g} V{}; at 40 deg C "
        "{} megohm by the halving rule, {} by the thermosetting rule, the worse counts{}",
        to_digits(mohm, 4), to_digits(ohm_per_volt, 3), voltage_,
        voltage_known_ ? "" : " (assumed)", to_digits(halving, 3), to_digits(thermosetting, 3),
        temperature.observed ? "" : fmt::format(" (winding taken to be at {:g} deg C)", celsius));
    if (!voltage_known_) {
      said_.warnings.push_back(fmt::format(
          "the system voltage is not known: the insulation is judged at {:g} V", voltage_));
    }
    if (celsius < kColdestWindingC || celsius > kWarmestWindingC) {
      said_.warnings.push_back(fmt::format(
          "the winding was at {:g} deg C when its insulation was measured; the rules for 40 deg C "
          "hold from {:g} to {:g}, and are taken on the safe side",
          celsius, kColdestWindingC, kWarmestWindingC));
    }
    const Value& test = r.at(Field::insulation_test_voltage_v);
    if (level == Insulation::sound && !test.observed) {
      said_.warnings.emplace_back(
          "the test voltage of the insulation is not on record: it is taken to be no less than the "
          "system voltage");
    }
    if (level == Insulation::sound && test.observed && test.number < voltage_) {
      said_.warnings.push_back(fmt::format(
          "the insulation was tested at {:g} V, below the system voltage: a pass at that voltage "
          "is not used",
          test.number));
      level.reset();
    }
    set(Finding::insulation, level_of(level));
  }

  void teardown(const Record& r) {
    // Renewed at this very opening: what it showed has been dealt with, save
    // what a new seal does not mend.
    const Value& renewed = r.at(Field::seal_renewed_odometer_km);
    const Value& odometer = r.at(Field::odometer_km);
    const bool by_field = renewed.told == Told::field && odometer.observed;
    const bool dealt_with = renewed.observed && (renewed.told == Told::work_after_look ||
                                                 (by_field && renewed.number >= odometer.number));
    const Value& gear = r.at(Field::gear_bearings);
    const bool new_gear = gear.observed && gear.told != Told::work_before_look &&
                          static_cast<Bearings>(gear.code) == Bearings::hybrid;
    // And measured sound, for a winding that was dried may not be dry.
    const bool dried = at(Finding::insulation) == level_of(Insulation::sound) &&
                       std::ranges::any_of(r.work, [](const Work& w) {
                         return !w.misplaced &&
                                (w.did == Did::winding_dried || w.did == Did::major_parts_replaced);
                       });
    for (const FindingSpec& f : findings()) {
      for (const CauseSpec& c : causes()) {
        if (f.id < Finding::opened_seal_leak || f.from.front() != c.teardown) {
          continue;
        }
        const int level = level_of_choice(r, c.teardown, f.id);
        const bool stays = level > 0 && outlives_seal(f) &&
                           !(new_gear && f.id == Finding::opened_gear_bearing_erosion) &&
                           !(dried && f.id == Finding::opened_insulation_loss);
        if (!dealt_with || stays) {
          set(f.id, level);
        }
      }
    }
  }

  const Knowledge& k_;
  double voltage_;
  bool voltage_known_;
  Said said_;
};

// ------------------------------------------------------ facts of the unit

// The most recent record that has the field.
const Value* latest(std::span<const Record> records, Field field) {
  for (std::size_t i = records.size(); i-- > 0;) {
    if (records[i].has(field)) {
      return &records[i].at(field);
    }
  }
  return nullptr;
}

std::string latest_text(std::span<const Record> records, std::string Record::*text) {
  for (std::size_t i = records.size(); i-- > 0;) {
    if (!(records[i].*text).empty()) {
      return records[i].*text;
    }
  }
  return {};
}

struct Build {
  Cooling cooling = Cooling::unknown;
  Bearings rotor = Bearings::unknown;
  Bearings gear = Bearings::unknown;
};

// What the family says about units built in months [first, last]: known only
// where all periods that overlap agree.
Build build_of(const Family& family, int first, int last) {
  Build build;
  bool is_first = true;
  for (const FamilyPeriod& p : family.periods) {
    if ((p.from && last < *p.from) || (p.before && first >= *p.before)) {
      continue;
    }
    if (is_first) {
      build = {p.cooling, p.rotor, p.gear};
      is_first = false;
      continue;
    }
    build.cooling = build.cooling == p.cooling ? build.cooling : Cooling::unknown;
    build.rotor = build.rotor == p.rotor ? build.rotor : Bearings::unknown;
    build.gear = build.gear == p.gear ? build.gear : Bearings::unknown;
  }
  return build;
}

// What each record says, read once for as many presentations as need it.
class Sayings {
 public:
  // Those of the first records, for one voltage.
  const std::vector<Said>& of(std::span<const Record> records, const Knowledge& k, double voltage,
                              bool known) {
    if (voltage != voltage_ || known != known_) {
      said_.clear();
      voltage_ = voltage;
      known_ = known;
    }
    Interpreter interpreter(k, voltage, known);
    while (said_.size() < records.size()) {
      said_.push_back(interpreter.read(records[said_.size()]));
    }
    return said_;
  }

 private:
  std::vector<Said> said_;
  double voltage_ = 0;
  bool known_ = false;
};

class Presenter {
 public:
  Presenter(const History& history, std::size_t count, const Knowledge& k, int today,
            Sayings& sayings)
      : records_(history.records.data(), count),
        refused_(history.refused.data(), count),
        k_(k),
        newest_(records_.back()),
        today_(std::max(today, static_cast<int>(newest_.at(Field::date).number))),
        sayings_(sayings),
        fitted_(latest(records_, Field::fitted_odometer_km)),
        fitted_before_(work_before(fitted_, Field::fitted_odometer_km)),
        works_(works_of(records_)) {
    // Where a record has no reading, the next one bounds it.
    at_most_.resize(count);
    double bound = std::numeric_limits<double>::infinity();
    for (std::size_t i = count; i-- > 0;) {
      const Value& km = records_[i].at(Field::odometer_km);
      bound = km.observed ? km.number : bound;
      at_most_[i] = bound;
    }
    while (before_fitting(first_)) {
      ++first_;
    }
    renewed_ = of_this_unit(Field::seal_renewed_odometer_km);
    renewed_before_ = work_before(renewed_, Field::seal_renewed_odometer_km);
    gear_ = of_this_unit(Field::gear_bearings);
  }

  Presentation present() {
    out_.facts = empty_case();
    out_.family = latest_text(records_, &Record::family);
    out_.vehicle = latest_text(records_, &Record::vehicle);
    family_ = &k_.family(out_.family);
    if (std::ranges::any_of(refused_, [](std::uint8_t r) { return r != 0; })) {
      contradiction("odometer-backwards");
    }
    for (const Record& r : records_) {
      for (const std::string_view id : r.contradictions) {
        contradiction(id);
      }
    }
    interpret();
    if (records_.size() > 1) {
      one_look();
    }
    distance();
    merge();
    port_age();
    configuration();
    course();
    Case& facts = out_.facts;
    facts.set(Situation::by,
              newest_.has(Field::by) ? newest_.at(Field::by).code : level_of(By::unknown));
    facts.set(Situation::rotor_magnets, family_->magnets);
    return std::move(out_);
  }

 private:
  void contradiction(std::string_view id) {
    if (std::ranges::find(out_.contradictions, id) == out_.contradictions.end()) {
      out_.contradictions.push_back(id);
    }
  }

  // What a record says, with what another one of the same look changes in it.
  [[nodiscard]] const Said& said(std::size_t i) const {
    const auto found = changed_.empty() ? changed_.end() : changed_.find(i);
    return found == changed_.end() ? (*said_)[i] : found->second;
  }

  void interpret() {
    const Value* given = latest(records_, Field::system_voltage_v);
    const bool usable = given != nullptr && given->number > kLowVoltage;
    const bool known = usable || family_->system_voltage.has_value();
    const double voltage =
        usable ? given->number : family_->system_voltage.value_or(k_.settings.assumed_voltage);
    said_ = &sayings_.of(records_, k_, voltage, known);
    const Said& newest = said(records_.size() - 1);
    for (const std::string_view id : newest.contradictions) {
      contradiction(id);
    }
    out_.warnings = newest.warnings;
    if (given != nullptr && !usable) {
      // A small one would let any winding pass.
      out_.warnings.push_back(fmt::format(
          "a system voltage of {:g} V drives no car (high voltage begins above {:g} V): it is not "
          "used",
          given->number, kLowVoltage));
    }
  }

  // Distance and age of the seal, counted from when it was last renewed.
  void distance() {
    const Settings& s = k_.settings;
    const int date = static_cast<int>(newest_.at(Field::date).number);
    double odometer = 0;
    bool odometer_known = newest_.has(Field::odometer_km);
    if (odometer_known) {
      odometer = newest_.at(Field::odometer_km).number;
      out_.odometer_km = odometer;
    } else if (const Record* last = last_with_odometer()) {
      odometer = last->at(Field::odometer_km).number +
                 (date - last->at(Field::date).number) / kDaysPerYear * s.km_per_year;
      odometer_known = true;
      out_.warnings.emplace_back(
          "the odometer was not recorded this time, or is not used: the distance since the last "
          "reading is "
          "assumed");
    }
    bool usable = odometer_known;
    const auto no_later = [&](const Value* repair, std::string_view id, std::string_view what) {
      if (!odometer_known || repair == nullptr || repair->number <= odometer) {
        return;
      }
      usable = false;
      if (out_.odometer_km) {
        contradiction(id);
      } else {  // the car may well have gone further than is assumed
        out_.warnings.push_back(fmt::format(
            "{} at a reading beyond the one that is assumed for this inspection", what));
      }
    };
    no_later(renewed_, "renewed-after-inspection", "the seal was replaced");
    no_later(fitted_, "fitted-after-inspection", "the unit was fitted");
    const double start = std::max(renewed_ != nullptr ? renewed_->number : 0.0,
                                  fitted_ != nullptr ? fitted_->number : 0.0);
    double unknown_km = 0;
    for (const CauseRule& c : k_.causes) {
      unknown_km = c.wear ? std::max(unknown_km, c.wear->unknown_km) : unknown_km;
    }
    Case& facts = out_.facts;
    if (usable) {
      facts.seal_km = odometer - start;
      if (out_.odometer_km) {
        out_.seal_km = facts.seal_km;
        out_.seal_renewed = renewed_ != nullptr;
      }
    } else {
      facts.seal_km = std::max(unknown_km, odometer);
      out_.warnings.push_back(fmt::format("the distance on the seal is not known: {} km is assumed",
                                          grouped(facts.seal_km)));
    }
    distance_usable_ = usable;
    built();
  }

  const Record* last_with_odometer() const {
    for (std::size_t i = records_.size(); i-- > 0;) {
      if (records_[i].has(Field::odometer_km)) {
        return &records_[i];
      }
    }
    return nullptr;
  }

  void built() {
    const Value* built = latest(records_, Field::built);
    if (built == nullptr) {
      return;
    }
    const int month = static_cast<int>(built->number);
    if (month > month_of(static_cast<int>(newest_.at(Field::date).number))) {
      contradiction("built-after-inspection");
      return;
    }
    built_first_ = month;
    built_last_ = built->code != 0 ? month + 11 : month;  // only the year is known
  }

  // Where work on record tells the value: the number of records that lie before the work.
  [[nodiscard]] std::optional<std::size_t> work_before(const Value* value, Field field) const {
    if (value == nullptr || value->told == Told::field) {
      return std::nullopt;
    }
    std::size_t i = records_.size() - 1;
    while (&records_[i].at(field) != value) {
      --i;
    }
    return value->told == Told::work_after_look ? i + 1 : i;
  }

  // The most recent of a field that is not of the unit that was there before.
  [[nodiscard]] const Value* of_this_unit(Field field) const {
    const Value* v = latest(records_.subspan(first_), field);
    if (v == nullptr && first_ > 0 && fitted_->told == Told::work_after_look &&
        records_[first_ - 1].at(field).told == Told::work_after_look) {
      v = &records_[first_ - 1].at(field);  // what was done after it had gone in that day
    }
    return v;
  }

  // Whether an earlier record speaks of the time before this unit went in.
  bool before_fitting(std::size_t i) const {
    return i + 1 != records_.size() && fitted_ != nullptr &&
           (fitted_before_ ? i < *fitted_before_ : at_most_[i] < fitted_->number);
  }
  // Whether an earlier record speaks of a seal that has been renewed since.
  bool before_renewal(std::size_t i) const {
    return i + 1 != records_.size() && renewed_ != nullptr &&
           (renewed_before_ ? i < *renewed_before_ : at_most_[i] <= renewed_->number);
  }
  bool before_repair(std::size_t i) const { return before_fitting(i) || before_renewal(i); }
  // The same for one finding: a new seal does not mend everything.
  bool before_repair(std::size_t i, const FindingSpec& f) const {
    if (before_fitting(i) || !before_renewal(i) || !outlives_seal(f)) {
      return before_repair(i);
    }
    if (f.id != Finding::insulation && f.id != Finding::isolation_fault &&
        f.id != Finding::opened_insulation_loss) {
      return gear_ != nullptr && static_cast<Bearings>(gear_->code) == Bearings::hybrid;
    }
    if (f.id != Finding::opened_insulation_loss) {
      return false;
    }
    for (std::size_t j = i + 1; j < records_.size(); ++j) {
      if (said(j).facts.at(Finding::insulation) == level_of(Insulation::sound) &&
          !before_renewal(j)) {
        return true;  // measured sound since
      }
    }
    return false;
  }

  // Records of one day at one reading tell of one look: where they disagree, the
  // worse counts, and both are named. Those without a reading come first of their
  // day, and go with any. Only later ones are changed: the newest tells what counts.
  void one_look() {
    using Worst = std::array<std::size_t, kFindingCount>;  // a record, or none
    const std::size_t none = records_.size();
    Worst unread;  // of those without a reading
    Worst read;    // of those at the reading of the last record
    unread.fill(none);
    read.fill(none);
    for (std::size_t i = 0; i < records_.size(); ++i) {
      const Value& km = records_[i].at(Field::odometer_km);
      if (i == 0 || records_[i].at(Field::date).number != records_[i - 1].at(Field::date).number) {
        unread.fill(none);
        read.fill(none);
      } else if (const Value& last = records_[i - 1].at(Field::odometer_km);
                 km.observed && last.observed && km.number != last.number) {
        read.fill(none);
      }
      if (before_repair(i)) {
        continue;
      }
      for (const FindingSpec& f : findings()) {
        if (!(f.detail_of ? f.id == Finding::port_fluid_kind : f.ordered)) {
          continue;
        }
        Worst& own = km.observed ? read : unread;
        for (const std::size_t j : {unread[idx(f.id)], read[idx(f.id)]}) {
          if (j != none) {
            worse_of(j, i, f);
          }
        }
        const std::size_t worst = own[idx(f.id)];
        if (level(i, f) >= 0 && (worst == none || level(i, f) > level(worst, f))) {
          own[idx(f.id)] = i;
        }
      }
    }
  }

  [[nodiscard]] bool of_newest_look(std::size_t i) const {
    const Value& km = records_[i].at(Field::odometer_km);
    const Value& newest_km = newest_.at(Field::odometer_km);
    return records_[i].at(Field::date).number == newest_.at(Field::date).number &&
           (!km.observed || !newest_km.observed || km.number == newest_km.number);
  }

  [[nodiscard]] int level(std::size_t i, const FindingSpec& f) const {
    return said(i).facts.at(f.id);
  }

  void worse_of(std::size_t earlier, std::size_t later, const FindingSpec& f) {
    const int a = level(earlier, f);
    const int b = level(later, f);
    if (a < 0 || b < 0 || a == b) {
      return;
    }
    if (a > b) {
      const Said& worse = said(earlier);  // a map's elements stay where they are
      Said& better = changed_.try_emplace(later, said(later)).first->second;
      for (const FindingSpec& g : findings()) {
        if (g.id == f.id || g.detail_of == f.id) {
          better.facts.set(g.id, worse.facts.at(g.id));
          better.detail[idx(g.id)] = worse.detail[idx(g.id)];
        }
      }
    }
    const auto [first, second] =
        std::minmax({std::pair(std::string_view(records_[earlier].source), records_[earlier].line),
                     std::pair(std::string_view(records_[later].source), records_[later].line)});
    out_.warnings.push_back(
        fmt::format("{}:{} and {}:{} are of the same day and disagree on {}: the worse counts",
                    first.first, first.second, second.first, second.second, f.title));
  }

  // The first record that says the rotor circuit is bypassed.
  std::size_t bypassed_from() const {
    const Value* cooling = of_this_unit(Field::rotor_cooling);
    if (cooling == nullptr || static_cast<Cooling>(cooling->code) != Cooling::bypassed) {
      return 0;
    }
    for (std::size_t i = first_; i < records_.size(); ++i) {
      const Value& v = records_[i].at(Field::rotor_cooling);
      if (v.observed && static_cast<Cooling>(v.code) == Cooling::bypassed) {
        return i;
      }
    }
    return first_;
  }

  // Bad news stays until a repair; good news does not carry over, save that of
  // a port check, which grows old.
  void merge() {
    const std::size_t n = records_.size();
    newest_look_ = n - 1;
    while (newest_look_ > 0 && same_look(newest_look_)) {
      --newest_look_;
    }
    const std::size_t bypass = bypassed_from();
    port_source_ = n;
    for (std::size_t i = n; i-- > 0 && port_source_ == n;) {
      if (said(i).port_made && !before_repair(i) && i >= bypass) {
        port_source_ = i;
      }
    }
    std::array<std::size_t, kFindingCount> source{};
    source.fill(n);
    for (const FindingSpec& f : findings()) {
      for (std::size_t i = n; i-- > 0 && source[idx(f.id)] == n;) {
        const int level = said(i).facts.at(f.id);
        if (level < 0 || before_repair(i, f) || (f.at_port && i < bypass)) {
          continue;
        }
        if (f.id == Finding::outside_leak && done_after(i, bits_of(Did::coolant_leak_repaired))) {
          break;
        }
        const bool harmless = level == 0 && f.ordered;
        if (harmless && !of_newest_look(i) && !(f.at_port && i == port_source_)) {
          break;  // good news of an earlier day
        }
        source[idx(f.id)] = i;
      }
    }
    // Details go with the finding that they describe.
    for (const FindingSpec& f : findings()) {
      if (f.detail_of) {
        const std::size_t i = source[idx(*f.detail_of)];
        source[idx(f.id)] = i < n && said(i).facts.at(f.id) >= 0 ? i : n;
      }
    }
    for (const FindingSpec& f : findings()) {
      const std::size_t i = source[idx(f.id)];
      if (i == n) {
        continue;
      }
      out_.facts.set(f.id, told_since(f.id, i));
      Observed& o = out_.observed[idx(f.id)];
      o.detail = said(i).detail[idx(f.id)];
      o.record = i;
      if (i + 1 != n) {
        o.since = date_text(day_of(records_[i]));
      }
      out_.facts.earlier |= i < newest_look_ ? 1U << idx(f.id) : 0U;
      if (before_renewal(i) && !f.detail_of && out_.facts.at(f.id) > 0) {
        out_.warnings.push_back(fmt::format(
            "{}: on record from before the seal was replaced, which does not repair it; it counts "
            "until it is looked at again",
            f.title));
      }
    }
    earlier_coolant(source[idx(Finding::port_fluid)]);
    earlier_damage(bypass);
  }

  // Whether a record tells of the look of the one before it: the same day, and no work between.
  [[nodiscard]] bool same_look(std::size_t i) const {
    const Record& before = records_[i - 1];
    constexpr Field kTold[] = {Field::seal_renewed_odometer_km, Field::fitted_odometer_km,
                               Field::rotor_bearings, Field::gear_bearings, Field::rotor_cooling};
    const bool work = std::ranges::any_of(kTold, [&](Field f) {
      return records_[i].at(f).told == Told::work_before_look ||
             before.at(f).told == Told::work_after_look;
    });
    return day_of(before) == day_of(records_[i]) && !work &&
           before_repair(i - 1) == before_repair(i);
  }

  // What the looks before the newest found, each with what other records of it change, and what
  // was done between them.
  void course() {
    std::vector<PastLook> looks;
    for (std::size_t i = first_; i < newest_look_; ++i) {
      if (looks.empty() || !same_look(i)) {
        looks.push_back({i, said(i).facts.level});
        continue;
      }
      PastLook& look = looks.back();
      look.record = i;
      for (const FindingSpec& f : findings()) {
        const std::int8_t level = said(i).facts.level[idx(f.id)];
        const bool led = f.detail_of && said(i).facts.at(*f.detail_of) >= 0;
        if (level >= 0 || led) {
          look.seen[idx(f.id)] = level;
        }
      }
    }
    Case& facts = out_.facts;
    const double start = fitted_ != nullptr ? fitted_->number : 0;
    const double renewed = std::max(start, renewed_ != nullptr ? renewed_->number : 0);
    const Standing unit{
        .fitted_km = distance_usable_ ? start : 0,
        .first = first_,
        .odometer_km = facts.seal_km + (distance_usable_ ? renewed : 0),
        .newest = newest_look_,
        .built = built_first_ >= 0 ? std::optional(built_first_) : std::nullopt,
        .cooling = static_cast<Cooling>(facts.at(Situation::rotor_cooling)),
        .contradicted = facts.at(Situation::configuration) == idx(Configuration::contradicted),
        .rotor = static_cast<Bearings>(facts.at(Situation::rotor_bearings)),
        .gear = static_cast<Bearings>(facts.at(Situation::gear_bearings)),
        .rotor_built = build_.rotor,
        .gear_built = build_.gear};
    CourseToNow told = course_of(records_, works_, looks, unit, k_.settings.km_per_year);
    // A seal taken for newer than the course has it would leave no way to the newest look.
    facts.seal_km = std::max(facts.seal_km, told.now.seal_km);
    // The seal goes on ageing until the day of judgement.
    const bool aged = renewed_ == nullptr && built_first_ >= 0;
    facts.seal_years =
        told.now.seal_years + (aged ? (month_of(today_) - month_of(day_of(newest_))) / 12.0 : 0);
    if (!told.course.legs.empty()) {
      facts.course = std::make_shared<const Course>(std::move(told.course));
    }
  }

  // The level in a record, as later ones explain it that say nothing else of it.
  [[nodiscard]] int told_since(Finding f, std::size_t i) const {
    const int level = said(i).facts.at(f);
    const auto later = records_.subspan(i + 1);
    if (f == Finding::isolation_fault && level == level_of(Isolation::stored) &&
        std::ranges::any_of(later, isolation_elsewhere)) {
      return level_of(Isolation::elsewhere);
    }
    const auto read = [](const Record& r) { return is_true(r, Field::fault_codes_read); };
    return f == Finding::shutdown && level == level_of(Shutdown::yes) &&
                   std::ranges::any_of(later, read)
               ? level_of(Shutdown::explained)
               : level;
  }

  [[nodiscard]] bool found_elsewhere(Finding f, std::size_t i) const {
    const Case& facts = said(i).facts;
    return (f == Finding::isolation_fault && isolation_elsewhere(records_[i])) ||
           (f == Finding::rotation &&
            facts.at(Finding::drag_place) == level_of(FaultPlace::elsewhere));
  }

  // Whether work out of these was done after a record's look.
  [[nodiscard]] bool done_after(std::size_t i, std::uint32_t works) const {
    return std::ranges::any_of(works_, [&](const UnitEvent& e) {
      return (works >> idx(e.work->did) & 1U) != 0 && e.looks_before > i;
    });
  }

  // A dry tip after a wet one, with no renewal between them, is no all-clear.
  void earlier_coolant(std::size_t fluid_source) {
    if (out_.facts.at(Finding::port_fluid) > 0) {
      return;
    }
    for (std::size_t i = std::min(fluid_source, records_.size()); i-- > 0;) {
      if (!before_repair(i) && shows_coolant(said(i).facts)) {
        out_.facts.set(Finding::earlier_coolant, level_of(Presence::present));
        out_.observed[idx(Finding::earlier_coolant)].since = date_text(day_of(records_[i]));
        return;
      }
    }
  }

  // One clean look does not undo what was seen before it: that has been repaired,
  // then the work is missing on record, or it has been overlooked.
  void earlier_damage(std::size_t bypass) {
    std::string gone;
    std::size_t newest = 0;
    for (const Sign& sign : kSigns) {
      const FindingSpec& f = spec(sign.finding);
      bool better_since = false;
      for (std::size_t i = records_.size(); i-- > 0;) {
        if (sign.opened && records_[i].has(*sign.opened)) {
          break;  // the opening told what came of it
        }
        const int level = said(i).facts.at(f.id);
        if (found_elsewhere(f.id, i) || done_after(i, sign.ended_by)) {
          break;
        }
        if (level >= 0 && level < sign.least) {
          better_since = true;
        }
        if (level < sign.least || before_repair(i) || (sign.bypass_ends && i < bypass) ||
            (sign.with_coolant && !shows_coolant(said(i).facts)) ||
            !(better_since || (f.at_port && i < bypass))) {
          continue;
        }
        gone += fmt::format("{}{} ({}) on {}", gone.empty() ? "" : "; ", f.title,
                            f.levels[static_cast<std::size_t>(level)].plain,
                            date_text(day_of(records_[i])));
        newest = std::max(newest, i);
        break;
      }
    }
    if (gone.empty()) {
      return;
    }
    out_.facts.set(Finding::earlier_damage, level_of(Presence::present));
    Observed& o = out_.observed[idx(Finding::earlier_damage)];
    o.since = date_text(static_cast<int>(records_[newest].at(Field::date).number));
    o.detail = gone;
    out_.warnings.push_back(fmt::format(
        "found before and gone since, with no work on record that explains it: {}", gone));
  }

  void port_age() {
    Case& facts = out_.facts;
    if (port_source_ == records_.size()) {
      facts.set(Situation::port_check, PortCheck::not_made);
      return;
    }
    const Settings& s = k_.settings;
    const Record& check = records_[port_source_];
    const double days = today_ - check.at(Field::date).number;
    const double between = newest_.at(Field::date).number - check.at(Field::date).number;
    double km = between / kDaysPerYear * s.km_per_year;
    if (check.has(Field::odometer_km) && newest_.has(Field::odometer_km)) {
      km = newest_.at(Field::odometer_km).number - check.at(Field::odometer_km).number;
    }
    if (port_source_ < newest_look_) {
      out_.port_record = port_source_;
    }
    out_.port_days_ago = between;
    out_.port_km_ago = km;
    const bool stale = km / s.port_stale_km + days / s.port_stale_days > 1;
    facts.set(Situation::port_check, stale ? PortCheck::stale : PortCheck::fresh);
  }

  void configuration() {
    Case& facts = out_.facts;
    const bool dated = built_first_ >= 0;
    build_ = build_of(*family_, dated ? built_first_ : 0, dated ? built_last_ : 1 << 20);
    const Build& build = build_;
    const auto given = [&](Field field, auto from_family) {
      const Value* v = of_this_unit(field);
      return v != nullptr ? static_cast<decltype(from_family)>(v->code) : from_family;
    };
    Cooling cooling = given(Field::rotor_cooling, build.cooling);
    const auto differs = [&](Cooling a, Cooling b) { return cooling == a && build.cooling == b; };
    if (differs(Cooling::wet, Cooling::factory_dry) ||
        differs(Cooling::factory_dry, Cooling::wet)) {
      contradiction("cooling-against-family");
      facts.set(Situation::configuration, Configuration::contradicted);
      cooling = Cooling::wet;
    }
    if ((cooling == Cooling::bypassed || cooling == Cooling::factory_dry) &&
        (has_coolant(facts) || coolant_not_accounted_for())) {
      contradiction("coolant-in-dry-rotor");
      facts.set(Situation::configuration, Configuration::contradicted);
      cooling = Cooling::wet;
    }
    facts.set(Situation::rotor_cooling, cooling);
    facts.set(Situation::rotor_bearings, given(Field::rotor_bearings, build.rotor));
    facts.set(Situation::gear_bearings, given(Field::gear_bearings, build.gear));
    const Value* kept = of_this_unit(Field::bypass_keeps_crossover);
    facts.set(Situation::crossover, kept != nullptr && kept->code != 0       ? Crossover::kept
                                    : cooling == Cooling::bypassed && bled() ? Crossover::bled
                                    : kept == nullptr                        ? Crossover::unknown
                                                                             : Crossover::dropped);
  }

  static bool has_coolant(const Case& facts) {
    return facts.at(Finding::port_fluid) > 0 &&
           facts.at(Finding::port_fluid_kind) == level_of(FluidKind::coolant);
  }

  // An earlier look saw coolant, and no record of a later day tells how the rotor is cooled: a
  // wiped tip, dry again, does not say that a bypass is there.
  [[nodiscard]] bool coolant_not_accounted_for() const {
    double told = -std::numeric_limits<double>::infinity();
    const std::size_t first = std::max(first_, bypassed_from());
    for (std::size_t i = records_.size(); i-- > first;) {
      const double day = records_[i].at(Field::date).number;
      if (before_repair(i)) {
        return false;
      }
      if (has_coolant(said(i).facts)) {
        return told <= day;
      }
      if (records_[i].has(Field::rotor_cooling)) {
        told = std::max(told, day);
      }
    }
    return false;
  }

  // Since the circuit was last bypassed, or since a record first told of that.
  [[nodiscard]] bool bled() const {
    bool bled = false;
    bool bypassed = false;
    for (const UnitEvent& e : works_) {
      const Did did = e.work->did;
      if (did == Did::cooling_bled) {
        bled = bypassed || e.looks_before > bypassed_from();
      } else if (did == Did::rotor_circuit_bypassed || did == Did::rotor_circuit_restored ||
                 did == Did::unit_replaced) {
        bypassed = did == Did::rotor_circuit_bypassed;
        bled = false;
      }
    }
    return bled;
  }

  std::span<const Record> records_;
  std::span<const std::uint8_t> refused_;
  const Knowledge& k_;
  const Record& newest_;
  int today_;
  const Family* family_ = nullptr;
  Sayings& sayings_;
  const Value* fitted_;
  const Value* renewed_ = nullptr;
  std::optional<std::size_t> fitted_before_;
  std::optional<std::size_t> renewed_before_;
  const Value* gear_ = nullptr;
  std::size_t first_ = 0;        // record of this unit
  std::vector<double> at_most_;  // km at each record, from above
  const std::vector<Said>* said_ = nullptr;
  std::map<std::size_t, Said> changed_;
  std::size_t port_source_ = 0;
  std::size_t newest_look_ = 0;   // its first record
  std::vector<UnitEvent> works_;  // in order
  bool distance_usable_ = true;
  int built_first_ = -1;
  int built_last_ = -1;
  Build build_;
  Presentation out_;
};

// The units that records of one id tell of: one, unless these contradict each other.
class Units {
 public:
  Units(const History& history, const Knowledge& k) : history_(history), k_(k) {
    for (const Record& r : history.records) {
      unit_of_.push_back(identities_.add(r));
    }
    if (identities_.differences().empty()) {
      sayings_.resize(1);
      return;
    }
    for (std::size_t i = 0; i < history.records.size(); ++i) {
      apart_.resize(std::max(apart_.size(), unit_of_[i] + 1));
      History& unit = apart_[unit_of_[i]];
      unit.records.push_back(history.records[i]);
      unit.refused.push_back(history.refused[i]);
    }
    sayings_.resize(apart_.size());
  }

  Presentation present(std::size_t count, int today) {
    if (apart_.empty()) {
      return Presenter(history_, count, k_, today, sayings_.front()).present();
    }
    std::vector<std::size_t> counts(apart_.size());
    for (std::size_t i = 0; i < count; ++i) {
      ++counts[unit_of_[i]];
    }
    const std::size_t newest = unit_of_[count - 1];
    Presentation out = of_unit(newest, counts[newest], today);
    for (std::size_t u = 0; u < apart_.size(); ++u) {
      if (u != newest && counts[u] > 0) {
        const Presentation other = of_unit(u, counts[u], today);
        keep_common_good(out, other);
        for (Observed& o : out.observed) {
          o.record.reset();
        }
        take_worse(out, other, date_text(day_of(apart_[u].records[counts[u] - 1])));
        std::ranges::copy(other.warnings, std::back_inserter(out.warnings));
      }
    }
    bool several = false;
    for (const Difference& d : identities_.differences()) {
      if (d.record < count) {
        out.warnings.push_back(told(d, history_.records));
        several = true;
      }
    }
    if (several) {
      out.contradictions.emplace_back("not-one-unit");
    }
    return out;
  }

 private:
  Presentation of_unit(std::size_t unit, std::size_t count, int today) {
    return Presenter(apart_[unit], count, k_, today, sayings_[unit]).present();
  }

  const History& history_;
  const Knowledge& k_;
  Identities identities_;
  std::vector<std::size_t> unit_of_;  // each record
  std::vector<History> apart_;        // empty: all are of one unit
  std::vector<Sayings> sayings_;
};

// Nobody knows when this was seen: what is bad counts now, and nothing else.
void take_wrongly_dated(Presentation& out, const Record& r, const Knowledge& k, int today) {
  const History alone{r.unit_id, {r}, {0}};
  Sayings sayings;
  take_worse(out, Presenter(alone, 1, k, today, sayings).present(), date_text(day_of(r)));
  out.warnings.push_back(
      fmt::format("{}:{} is dated {}, too late to be right: only what it says for the worse counts",
                  r.source, r.line, date_text(day_of(r))));
}

}  // namespace

double insulation_halving_factor(double winding_c) {
  return std::exp2((std::min(winding_c, kWarmestWindingC) - 40) / 10);
}

double insulation_thermosetting_factor(double winding_c) {
  const double t = std::clamp(winding_c, kColdestWindingC, kWarmestWindingC);
  const double slope = t > 40 ? 4230.0 : 1245.0;
  return std::exp(-slope * (1 / (t + 273) - 1 / 313.0));
}

Presentation present(const History& history, std::size_t count, const Knowledge& knowledge,
                     int today) {
  const bool all = count == history.records.size();
  Presentation out =
      Units(history, knowledge)
          .present(count, all ? std::max(today, history.perhaps_today.value_or(today)) : today);
  if (all) {
    for (const Record& r : history.set_aside) {
      take_wrongly_dated(out, r, knowledge, today);
    }
  }
  return out;
}

void present_earlier(const History& history, std::size_t first, const Knowledge& knowledge,
                     const std::function<void(std::size_t, const Presentation&)>& take) {
  Units units(history, knowledge);
  for (std::size_t i = first; i + 1 < history.records.size(); ++i) {
    take(i, units.present(i + 1, day_of(history.records[i])));
  }
}

}  // namespace dryshaft
