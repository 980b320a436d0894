// From histories to intervals: what each look says about the seal that was in
// then, and which looks, seals and units say nothing. The rules stand as a table
// in DEVELOPERS.md, "How onset intervals are made".
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "diagnose/present.hpp"
#include "dryshaft/onset.hpp"
#include "record/identity.hpp"
#include "record/look.hpp"
#include "record/own.hpp"

namespace dryshaft {
namespace {

// What a look at the port, or at the opened unit, says of a leak.
enum class Saw : std::uint8_t {
  nothing,
  dry,
  wet,
  // Without coolant: whether it has leaked is open.
  residue,
  marks,  // light rust, or chips
};

struct Sight {
  Saw saw = Saw::nothing;
  bool worse = false;  // of two readings
  [[nodiscard]] bool leaked() const { return saw == Saw::wet; }
  [[nodiscard]] bool open() const { return saw == Saw::residue || saw == Saw::marks; }
};

Sight seen_at_port(const Record& r) {
  const PortLook look = look_at_port(r);
  if (may_be_coolant(look.fluid, look.kind)) {
    return {Saw::wet, !look.contradictions.empty()};
  }
  if (look.residue == Presence::present) {
    return {Saw::residue};
  }
  if (look.rust == Rust::heavy) {
    return {Saw::wet, true};  // a verdict takes it for the trace of a leak, more likely than not
  }
  if (look.rust == Rust::light || look.debris == Debris::chips) {
    return {Saw::marks};
  }
  return {look.made && look.fluid == Fluid::none ? Saw::dry : Saw::nothing};
}

// An opened unit shows more than the port does. Where the rotor bearings have rusted, coolant has
// got there.
Sight seen_in(const Record& r) {
  const auto opened = [&](Field field, Finding finding) {
    return named_level<Presence>(level_of_choice(r, field, finding));
  };
  const auto seal = opened(Field::teardown_seal_leak, Finding::opened_seal_leak);
  const auto rusted =
      opened(Field::teardown_rotor_bearing_corrosion, Finding::opened_rotor_bearing_corrosion);
  if (seal == Presence::present || rusted == Presence::present) {
    return {Saw::wet, seal == Presence::absent};
  }
  const Sight port = seen_at_port(r);
  if (seal != Presence::absent) {
    return port;
  }
  return port.leaked() ? Sight{port.saw, true} : Sight{Saw::dry};
}

struct Look {
  std::size_t number = 0;  // of the record, in the history
  const Record* record = nullptr;
  Sight sight;
  std::optional<double> km;  // odometer
  int day = 0;
};

// A seal's time in the unit: from an odometer reading on.
struct Seal {
  double from_km = 0;
  std::optional<double> to_km;  // it was renewed there
  // Day on which it was new, at the earliest and at the latest; for ages.
  std::optional<int> new_first;
  std::optional<int> new_last;
  std::vector<Look> looks;  // by day
};

class UnitReader {
 public:
  UnitReader(const History& history, const Knowledge& knowledge, OnsetAxis axis,
             std::string_view by, OnsetData& out)
      : history_(history), k_(knowledge), axis_(axis), by_(by), out_(out) {}

  void read() {
    const Record& newest = history_.records.back();
    seen_ = present(history_, history_.records.size(), k_, day_of(newest));
    const std::size_t listed = out_.left_out.size();
    for (const Record& r : history_.records) {
      sights_.push_back(seen_in(r));
      if (sights_.back().saw == Saw::residue) {
        leave(
            "look", "residue-alone",
            "dried residue without coolant: a leak leaves it, and so do wash water and old spills",
            r);
      }
    }
    std::size_t kept = 0;
    bool misplaced = false;
    if (const std::optional<Doubt> doubt = doubt_of_unit()) {
      const auto leak = std::ranges::find_if(sights_, &Sight::leaked);
      if (leak == sights_.end()) {
        leave("unit", doubt->id, doubt->why, *doubt->at);
        return;
      }
      doubtful_ = true;
      misplaced = doubt->of_place;
      kept = misplaced && leak_of(static_cast<std::size_t>(leak - sights_.begin())) ? 1 : 0;
    }
    if (!misplaced) {
      collect();
      for (std::size_t s = 0; s < seals_.size(); ++s) {
        kept += interval_of(seals_[s], s + 1) ? 1 : 0;
      }
    }
    if (kept > 0) {
      ++out_.units;
      const auto cooling = static_cast<Cooling>(seen_.facts.at(Situation::rotor_cooling));
      out_.cooling_unknown += cooling == Cooling::unknown ? 1 : 0;
    } else if (out_.left_out.size() == listed) {
      const bool checked = std::ranges::any_of(
          history_.records, [](const Record& r) { return is_true(r, Field::port_checked); });
      checked
          ? leave("unit", "nothing-told", "no port check on record shows whether it leaked", newest)
          : leave("unit", "never-looked-at", "its sensor port was never checked on record", newest);
    }
  }

 private:
  void leave(std::string_view what, std::string_view id, std::string_view why, const Record& at) {
    out_.left_out.push_back({std::string(what), std::string(id), std::string(why), history_.unit_id,
                             at.source, at.line});
  }

  [[nodiscard]] bool contradicts(std::string_view id) const {
    return std::ranges::find(seen_.contradictions, id) != seen_.contradictions.end();
  }

  // Why what a unit says cannot be relied on. A leak is one all the same.
  struct Doubt {
    std::string_view id;
    std::string_view why;
    const Record* at = nullptr;
    bool of_place = false;  // where its seals were renewed or fitted is not known
  };

  [[nodiscard]] std::optional<Doubt> doubt_of_unit() const {
    const Record& newest = history_.records.back();
    if (contradicts("cooling-against-family")) {
      return Doubt{"cooling-against-family",
                   "its rotor cooling on record is not what its family was built with", &newest};
    }
    bool dry_built =
        static_cast<Cooling>(seen_.facts.at(Situation::rotor_cooling)) == Cooling::factory_dry;
    std::optional<double> renewed;
    std::optional<double> fitted;
    for (const Record& r : history_.records) {
      dry_built = dry_built || cooling_in(r) == Cooling::factory_dry;
      const Value& odometer = r.at(Field::odometer_km);
      const Value& to = r.at(Field::seal_renewed_odometer_km);
      const Value& in = r.at(Field::fitted_odometer_km);
      if (to.observed) {
        if (odometer.observed && to.number > odometer.number) {
          return Doubt{"renewed-after-inspection",
                       "its seal was replaced at a later odometer reading than that of the record",
                       &r, true};
        }
        if (renewed && to.number < *renewed) {
          return Doubt{"renewals-disagree",
                       "a later record puts the replacement of its seal before an earlier one", &r,
                       true};
        }
        renewed = to.number;
      }
      if (in.observed) {
        if (odometer.observed && in.number > odometer.number) {
          return Doubt{"fitted-after-inspection",
                       "it was fitted at a later odometer reading than that of the record", &r,
                       true};
        }
        if (fitted && in.number != *fitted) {
          return Doubt{"fitted-twice", "two odometer readings are on record for its fitting", &r,
                       true};
        }
        fitted = in.number;
      }
    }
    if (contradicts("not-one-unit")) {
      return Doubt{"not-one-unit", "its records differ in build date, family, vehicle or fitting",
                   &newest, true};
    }
    if (dry_built) {
      return Doubt{"factory-dry", "its rotor was built dry: no coolant runs through it", &newest};
    }
    return std::nullopt;
  }

  // Looks, each with the seal that it was at.
  void collect() {
    double fitted = 0;
    std::vector<double> renewals;
    std::vector<const Record*> told;  // the first record that tells of each
    for (const Record& r : history_.records) {
      fitted = r.has(Field::fitted_odometer_km) ? r.at(Field::fitted_odometer_km).number : fitted;
      const Value& to = r.at(Field::seal_renewed_odometer_km);
      if (to.observed && (renewals.empty() || to.number > renewals.back())) {
        renewals.push_back(to.number);
        told.push_back(&r);
      }
    }
    seals_.resize(renewals.size() + 1);
    seals_[0].from_km = fitted;
    built(seals_[0]);
    for (std::size_t i = 0; i < renewals.size(); ++i) {
      Seal& seal = seals_[i + 1];
      seal.from_km = renewals[i];
      // Renewed on the day of a record only where the odometer says so.
      const Value& odometer = told[i]->at(Field::odometer_km);
      if (odometer.observed && odometer.number == renewals[i]) {
        seal.new_first = seal.new_last = static_cast<int>(told[i]->at(Field::date).number);
      }
    }
    for (std::size_t i = 0; i < renewals.size(); ++i) {
      seals_[i].to_km = renewals[i];
    }
    const std::vector<double> at_most = next_readings();
    bool bypassed = false;
    bool undone = false;
    std::size_t told_by_then = 0;  // renewals, by the records before
    for (std::size_t i = 0; i < history_.records.size(); ++i) {
      const Record& r = history_.records[i];
      const Cooling cooling = cooling_in(r);
      undone = bypassed && (undone || cooling == Cooling::wet);
      bypassed = bypassed || cooling == Cooling::bypassed;
      Look look{i, &r, sights_[i], std::nullopt, day_of(r)};
      if (r.has(Field::odometer_km)) {
        look.km = r.at(Field::odometer_km).number;
      }
      if (bypassed && !look.sight.leaked()) {
        if (undone && look.sight.saw == Saw::dry) {
          leave("look", "bypass-undone",
                "dry when its rotor circuit was on record as bypassed, then as wet again", r);
        }
        continue;  // it can no longer leak there
      }
      look.sight.worse = look.sight.worse || bypassed || doubtful_;
      const std::size_t before = told_by_then;
      if (r.has(Field::seal_renewed_odometer_km)) {
        told_by_then = renewed_before(
            renewals, std::nextafter(r.at(Field::seal_renewed_odometer_km).number, kNoEnd));
      }
      if (look.km ? placed(look, renewals)
                  : bounded(look, renewals, before, told_by_then, at_most[i])) {
        seals_[seal_].looks.push_back(look);
      }
    }
  }

  static std::size_t renewed_before(const std::vector<double>& renewals, double km) {
    return static_cast<std::size_t>(std::ranges::lower_bound(renewals, km) - renewals.begin());
  }

  // Which seal a look with a reading was at; false where it says nothing of any.
  bool placed(Look& look, const std::vector<double>& renewals) {
    // Renewed at this very reading: what was wet there was the old seal; what was dry may
    // be either.
    seal_ = renewed_before(renewals, *look.km);
    const Seal& seal = seals_[seal_];
    if (seal.to_km == look.km && look.sight.saw == Saw::dry) {
      leave("look", "dry-at-renewal",
            "dry at the reading at which the seal was replaced: the old seal or the new one",
            *look.record);
      look.sight = {};
    }
    if (*look.km < seal.from_km) {
      if (look.sight.saw != Saw::nothing) {
        leave("look", "before-fitting", "it was made before the unit was fitted", *look.record);
      }
      return false;
    }
    return true;
  }

  // The same for one without a reading, which lies before the next one. What leaked was the newest
  // seal that it can have been, save that whoever tells of a renewal tells what the old one did.
  bool bounded(Look& look, const std::vector<double>& renewals, std::size_t before,
               std::size_t told_by_then, double at_most) {
    const std::size_t last = std::max(before, renewed_before(renewals, at_most));
    seal_ = told_by_then > before ? before : last;
    if (look.sight.saw != Saw::dry) {
      return true;
    }
    const bool refused = history_.refused[look.number] != 0;
    if (axis_ == OnsetAxis::km) {
      leave("look", refused ? "odometer-backwards" : "odometer-missing",
            refused ? "its odometer reading runs backwards and is not used"
                    : "no odometer reading: the distance at this port check is not known",
            *look.record);
    } else if (before != last) {
      leave("look", "odometer-missing",
            "no odometer reading: which of the unit's seals was checked is not known",
            *look.record);
      look.sight = {};
    }
    return true;
  }

  // At each record the next reading of the odometer, its own included.
  [[nodiscard]] std::vector<double> next_readings() const {
    std::vector<double> next(history_.records.size());
    double bound = kNoEnd;
    for (std::size_t i = next.size(); i-- > 0;) {
      const Value& km = history_.records[i].at(Field::odometer_km);
      bound = km.observed ? km.number : bound;
      next[i] = bound;
    }
    return next;
  }

  void built(Seal& seal) const {
    for (const Record& r : history_.records) {
      const Value& v = r.at(Field::built);
      if (v.observed && !built_too_late(r)) {
        const int month = static_cast<int>(v.number);
        const int last = v.code != 0 ? month + 11 : month;
        seal.new_first = days_from_date(month / 12, month % 12 + 1, 1);
        seal.new_last = days_from_date((last + 1) / 12, (last + 1) % 12 + 1, 1) - 1;
      }
    }
  }

  // Where a look stands on the axis, as the end of an interval: at least, at most.
  [[nodiscard]] std::optional<std::pair<double, double>> place(const Seal& seal,
                                                               const Look& look) const {
    if (axis_ == OnsetAxis::km) {
      if (!look.km) {
        return std::nullopt;
      }
      return std::pair(*look.km - seal.from_km, *look.km - seal.from_km);
    }
    if (!seal.new_first) {
      return std::nullopt;
    }
    return std::pair(std::max(0.0, (look.day - *seal.new_last) / kDaysPerYear),
                     std::max(0.0, (look.day - *seal.new_first) / kDaysPerYear));
  }

  // What a verdict on the day of a record takes for the seal's distance or age.
  [[nodiscard]] double assumed(std::size_t number) const {
    const Case facts = present(history_, number + 1, k_, day_of(history_.records[number])).facts;
    return axis_ == OnsetAxis::km ? facts.seal_km : facts.seal_years;
  }

  OnsetInterval interval_at(std::size_t seal, const Record& r) const {
    OnsetInterval out;
    out.unit = history_.unit_id;
    out.seal = seal;
    out.group = group();
    out.source = r.source;
    out.line = r.line;
    return out;
  }

  // The leak of a unit of which is not known where its seals stood.
  bool leak_of(std::size_t number) {
    const Record& r = history_.records[number];
    OnsetInterval out = interval_at(1, r);
    out.right = assumed(number);
    out.worse_reading = out.assumed = true;
    return keep(std::move(out), r);
  }

  bool keep(OnsetInterval out, const Record& at) {
    if (std::isfinite(out.right) && !(out.right > 0)) {
      leave("seal", "leak-when-new", "it leaked at distance or age 0: the fitting, not wear", at);
      return false;
    }
    out_.intervals.push_back(std::move(out));
    return true;
  }

  bool interval_of(const Seal& seal, std::size_t number) {
    const auto wet =
        std::ranges::find_if(seal.looks, [](const Look& l) { return l.sight.leaked(); });
    if (wet != seal.looks.end()) {
      return leaked(seal, number, wet);
    }
    if (std::ranges::none_of(seal.looks, [](const Look& l) { return l.sight.saw == Saw::dry; })) {
      return false;  // each of its looks says nothing, or was left out, and said
    }
    const Record& last = *seal.looks.back().record;
    if (axis_ == OnsetAxis::years && !seal.new_first) {
      leave("seal", "age-not-known",
            number == 1 ? "when the unit was built is not on record"
                        : "the day on which its seal was replaced is not on record",
            last);
      return false;
    }
    const auto dry = last_dry(seal, seal.looks.end(), kNoEnd);
    if (!dry) {
      return false;
    }
    if (!(dry->first > 0)) {
      leave("seal", "only-new", "it was checked only when it was new", last);
      return false;
    }
    OnsetInterval out = interval_at(number, *dry->second);
    out.left = dry->first;
    return keep(std::move(out), last);
  }

  using Looks = std::vector<Look>::const_iterator;

  // By when it had: the next place on record, or the seal's renewal, or what a verdict assumes.
  bool leaked(const Seal& seal, std::size_t number, Looks wet) {
    const auto placed_at = std::find_if(wet, seal.looks.end(),
                                        [&](const Look& l) { return place(seal, l).has_value(); });
    OnsetInterval out = interval_at(number, *wet->record);
    out.worse_reading = wet->sight.worse;
    if (placed_at != seal.looks.end()) {
      out.right = place(seal, *placed_at)->second;
      out.source = placed_at->record->source;
      out.line = placed_at->record->line;
    } else if (axis_ == OnsetAxis::km && seal.to_km) {
      out.right = *seal.to_km - seal.from_km;
    } else {
      out.right = assumed(wet->number);
      out.assumed = true;
    }
    if (const auto dry = last_dry(seal, wet, out.right)) {
      out.left = dry->first;
    }
    return keep(std::move(out), *wet->record);
  }

  // The last dry look before another and below an end. Where a leak follows, residue and marks may
  // have come of it, and a dry look after them is no all-clear; where none does, they were stray.
  std::optional<std::pair<double, const Record*>> last_dry(const Seal& seal, Looks end,
                                                           double below) {
    std::optional<std::pair<double, const Record*>> last;
    const bool leaked = end != seal.looks.end();
    bool marked = false;
    for (auto look = seal.looks.begin(); look != end; ++look) {
      marked = marked || (leaked && look->sight.open());
      const auto at = place(seal, *look);
      if (look->sight.saw != Saw::dry || !at || !(at->first < below)) {
        continue;
      }
      if (marked) {
        leave("look", "dry-after-marks",
              "dry after residue, rust or chips on the tip, and a leak was found later",
              *look->record);
      } else if (!last || at->first >= last->first) {
        last = {at->first, look->record};
      }
    }
    return last;
  }

  [[nodiscard]] std::string group() const {
    if (by_.empty()) {
      return {};
    }
    const auto bearings = [&](Situation s) {
      const auto b = static_cast<Bearings>(seen_.facts.at(s));
      return b == Bearings::unknown ? std::string()
                                    : std::string(b == Bearings::steel ? "steel" : "hybrid");
    };
    if (by_ == "family") {
      return seen_.family;
    }
    if (by_ == "vehicle") {
      return seen_.vehicle;
    }
    if (by_ == "rotor_bearings") {
      return bearings(Situation::rotor_bearings);
    }
    if (by_ == "gear_bearings") {
      return bearings(Situation::gear_bearings);
    }
    const std::string* const own = own_value(history_, by_);
    const bool is_group = own != nullptr && own->front() != '{' && own->front() != '[';
    return is_group ? own_text(*own) : std::string();
  }

  static Cooling cooling_in(const Record& r) {
    const Value& cooling = r.at(Field::rotor_cooling);
    return cooling.observed ? static_cast<Cooling>(cooling.code) : Cooling::unknown;
  }

  const History& history_;
  const Knowledge& k_;
  OnsetAxis axis_;
  std::string_view by_;
  OnsetData& out_;
  Presentation seen_;
  std::vector<Sight> sights_;  // one a record
  std::vector<Seal> seals_;
  std::size_t seal_ = 0;   // that the last look was at
  bool doubtful_ = false;  // the unit is
};

}  // namespace

std::string_view name(OnsetAxis axis) {
  switch (axis) {
    case OnsetAxis::km:
      return "km";
    case OnsetAxis::years:
      return "years";
    default:
      return "plain";
  }
}

void make_anonymous(OnsetData& data) {
  for (OnsetInterval& interval : data.intervals) {
    interval.unit.clear();
    interval.source.clear();
    interval.line = 0;
  }
  for (OnsetLeftOut& left_out : data.left_out) {
    left_out.unit.clear();
    left_out.source.clear();
    left_out.line = 0;
  }
}

OnsetData onset_intervals(const std::vector<History>& histories, const Knowledge& knowledge,
                          OnsetAxis axis, std::string_view by) {
  OnsetData out;
  out.axis = axis;
  out.by = by;
  for (const History& h : histories) {
    if (!h.records.empty()) {
      UnitReader(h, knowledge, axis, by, out).read();
    }
  }
  return out;
}

}  // namespace dryshaft
