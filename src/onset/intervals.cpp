// From histories to intervals: what each look says about the seal that was in
// then, and which looks, seals and units say nothing. The rules stand as a table
// in DEVELOPERS.md, "How onset intervals are made".
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "dryshaft/onset.hpp"
#include "record/identity.hpp"

namespace dryshaft {
namespace {

// What a look at the port, or at the opened unit, says of a leak.
enum class Saw : std::uint8_t { nothing, dry, wet, residue, contradiction };

bool port_flag(const Record& r, Field field) { return r.has(field) && r.at(field).code != 0; }

std::string_view port_word(const Record& r, Field field) {
  return r.has(field) ? spec(field).choices[r.at(field).code].id : std::string_view();
}

// Liquid counts as coolant until it is identified as something else; clear water is
// identified by a refractometer that reads 0 %.
Saw saw_at_port(const Record& r) {
  const std::string_view fluid = port_word(r, Field::port_fluid);
  const std::string_view kind = port_word(r, Field::port_fluid_kind);
  const Value& glycol = r.at(Field::port_glycol_percent);
  const bool some_glycol = glycol.observed && glycol.number > 0;
  if (fluid == "none" && (some_glycol || !kind.empty())) {
    return Saw::contradiction;
  }
  if (kind == "coolant" && glycol.observed && !some_glycol) {
    return Saw::contradiction;
  }
  if (kind == "gear-oil" && some_glycol) {
    return Saw::contradiction;
  }
  const bool liquid =
      (!fluid.empty() && fluid != "none") || some_glycol || (fluid.empty() && !kind.empty());
  if (liquid) {
    const bool something_else =
        kind == "gear-oil" || (kind == "water" && glycol.observed && !some_glycol);
    return something_else ? Saw::nothing : Saw::wet;
  }
  if (port_flag(r, Field::port_dried_residue)) {
    return Saw::residue;
  }
  if (fluid.empty() || !port_flag(r, Field::port_checked)) {
    return Saw::nothing;  // not looked at, or nobody wrote down whether it was dry
  }
  const std::string_view rust = port_word(r, Field::port_corrosion);
  return rust.empty() || rust == "none" ? Saw::dry : Saw::nothing;
}

Saw saw_in(const Record& r) {
  const Saw port = saw_at_port(r);
  const std::string_view opened = port_word(r, Field::teardown_seal_leak);
  if (opened == "present") {
    return Saw::wet;  // an opened unit shows more than the port does
  }
  if (opened == "absent") {
    return port == Saw::wet || port == Saw::contradiction ? Saw::contradiction : Saw::dry;
  }
  return port;
}

struct Look {
  const Record* record = nullptr;
  Saw saw = Saw::nothing;
  std::optional<double> km;  // odometer
  int day = 0;
};

// A seal's time in the unit: from an odometer reading on.
struct Seal {
  double from_km = 0;
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
    seen_ = present(history_, history_.records.size(), k_,
                    static_cast<int>(newest.at(Field::date).number));
    if (left_out()) {
      return;
    }
    collect();
    std::size_t kept = 0;
    for (std::size_t s = 0; s < seals_.size(); ++s) {
      kept += interval_of(seals_[s], s + 1) ? 1 : 0;
    }
    if (kept > 0) {
      ++out_.units;
      const auto cooling = static_cast<Cooling>(seen_.facts.at(Situation::rotor_cooling));
      out_.cooling_unknown += cooling == Cooling::unknown ? 1 : 0;
    } else if (!any_look_) {
      leave("unit", "never-looked-at", "its sensor port was never checked on record", newest);
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

  // The whole unit says nothing, or nothing that can be relied on.
  bool left_out() {
    const Record& newest = history_.records.back();
    const auto unit = [&](std::string_view id, std::string_view why, const Record& at) {
      leave("unit", id, why, at);
      return true;
    };
    if (contradicts("cooling-against-family")) {
      return unit("cooling-against-family",
                  "its rotor cooling on record is not what its family was built with", newest);
    }
    bool dry_built =
        static_cast<Cooling>(seen_.facts.at(Situation::rotor_cooling)) == Cooling::factory_dry;
    std::optional<double> renewed;
    std::optional<double> fitted;
    bool bypassed = false;
    for (const Record& r : history_.records) {
      const Value& cooling = r.at(Field::rotor_cooling);
      if (cooling.observed) {
        const auto now = static_cast<Cooling>(cooling.code);
        dry_built = dry_built || now == Cooling::factory_dry;
        if (bypassed && now == Cooling::wet) {
          return unit("bypass-undone",
                      "its rotor circuit is bypassed in one record, wet in a later one", r);
        }
        bypassed = bypassed || now == Cooling::bypassed;
      }
      const Value& odometer = r.at(Field::odometer_km);
      const Value& to = r.at(Field::seal_renewed_odometer_km);
      const Value& in = r.at(Field::fitted_odometer_km);
      if (to.observed) {
        if (odometer.observed && to.number > odometer.number) {
          return unit("renewed-after-inspection",
                      "its seal was renewed at a later odometer reading than that of the record",
                      r);
        }
        if (renewed && to.number < *renewed) {
          return unit("renewals-disagree",
                      "a later record puts the renewal of its seal before an earlier one", r);
        }
        renewed = to.number;
      }
      if (in.observed) {
        if (odometer.observed && in.number > odometer.number) {
          return unit("fitted-after-inspection",
                      "it was fitted at a later odometer reading than that of the record", r);
        }
        if (fitted && in.number != *fitted) {
          return unit("fitted-twice", "two odometer readings are on record for its fitting", r);
        }
        fitted = in.number;
      }
    }
    if (contradicts("not-one-unit")) {
      return unit("not-one-unit", "its records differ in build date, family, vehicle or fitting",
                  newest);
    }
    if (dry_built) {
      return unit("factory-dry", "its rotor was built dry: no coolant runs through it", newest);
    }
    return false;
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
    bool bypassed = false;
    std::size_t current = 0;  // by what the records so far tell
    for (std::size_t i = 0; i < history_.records.size(); ++i) {
      const Record& r = history_.records[i];
      const Value& cooling = r.at(Field::rotor_cooling);
      bypassed =
          bypassed || (cooling.observed && static_cast<Cooling>(cooling.code) == Cooling::bypassed);
      Look look{&r, saw_in(r), std::nullopt, static_cast<int>(r.at(Field::date).number)};
      if (r.has(Field::odometer_km)) {
        look.km = r.at(Field::odometer_km).number;
      }
      const bool looked = look.saw != Saw::nothing;
      any_look_ = any_look_ || looked;
      if (look.saw == Saw::contradiction) {
        leave("look", "contradictory-look", "what it says of the port contradicts itself", r);
        look.saw = Saw::nothing;
      }
      if (bypassed) {
        if (look.saw == Saw::wet || look.saw == Saw::residue) {
          leave("look", "wet-when-bypassed",
                "coolant at a rotor circuit on record as bypassed: an older leak, another source, "
                "or the bypass is why",
                r);
          doubtful_ = true;
        }
        continue;  // it can no longer leak there
      }
      if (r.has(Field::seal_renewed_odometer_km)) {
        const double to = r.at(Field::seal_renewed_odometer_km).number;
        current =
            static_cast<std::size_t>(std::ranges::upper_bound(renewals, to) - renewals.begin());
      }
      std::size_t seal = current;
      if (look.km) {
        // Renewed at this very reading: what was wet there was the old seal; what was dry may
        // be either.
        seal = static_cast<std::size_t>(std::ranges::lower_bound(renewals, *look.km) -
                                        renewals.begin());
        const bool at_renewal = seal < renewals.size() && renewals[seal] == *look.km;
        if (at_renewal && look.saw == Saw::dry) {
          leave("look", "dry-at-renewal",
                "dry at the reading at which the seal was renewed: the old seal or the new one", r);
          look.saw = Saw::nothing;
        }
        if (*look.km < seals_[seal].from_km) {
          if (looked) {
            leave("look", "before-fitting", "it was made before the unit was fitted", r);
          }
          continue;
        }
      } else if (look.saw == Saw::dry && axis_ == OnsetAxis::km) {
        leave("look", history_.refused[i] != 0 ? "odometer-backwards" : "odometer-missing",
              history_.refused[i] != 0
                  ? "its odometer reading runs backwards and is not used"
                  : "no odometer reading: the look has no place on the distance",
              r);
      } else if (looked && !renewals.empty()) {
        leave("look", "odometer-missing",
              "no odometer reading: which of the unit's seals was looked at is not known", r);
        look.saw = Saw::nothing;
      }
      seals_[seal].looks.push_back(look);
    }
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
    return std::pair(std::max(0.0, (look.day - *seal.new_last) / kDaysPerYear),
                     std::max(0.0, (look.day - *seal.new_first) / kDaysPerYear));
  }

  bool interval_of(const Seal& seal, std::size_t number) {
    const bool looked =
        std::ranges::any_of(seal.looks, [](const Look& l) { return l.saw != Saw::nothing; });
    if (!looked) {
      return false;
    }
    const Record& last = *seal.looks.back().record;
    if (axis_ == OnsetAxis::years && !seal.new_first) {
      leave("seal", "age-not-known",
            number == 1 ? "when the unit was built is not on record"
                        : "the day on which its seal was renewed is not on record",
            last);
      return false;
    }
    OnsetInterval out;
    out.unit = history_.unit_id;
    out.seal = number;
    out.group = group();
    const Look* wet = nullptr;
    std::vector<std::pair<double, const Record*>> dry;
    for (const Look& look : seal.looks) {
      const auto at = place(seal, look);
      if (wet == nullptr && (look.saw == Saw::wet || look.saw == Saw::residue)) {
        wet = &look;
        out.residue_alone = look.saw == Saw::residue;
      }
      if (wet != nullptr && at) {  // the leak had begun by this reading
        out.right = at->second;
        out.source = look.record->source;
        out.line = look.record->line;
        break;
      }
      if (wet == nullptr && look.saw == Saw::dry && at) {
        dry.emplace_back(at->first, look.record);
      }
    }
    if (wet != nullptr && !std::isfinite(out.right)) {
      leave("seal", "leak-without-distance",
            "it leaked, but no odometer reading then or later says by when", *wet->record);
      return false;
    }
    for (const auto& [at, record] : dry) {
      if (at < out.right && at >= out.left) {
        out.left = at;
        if (wet == nullptr) {
          out.source = record->source;
          out.line = record->line;
        }
      }
    }
    if (wet != nullptr && !(out.right > 0)) {
      leave("seal", "leak-when-new", "it leaked at distance or age 0: the fitting, not wear",
            *wet->record);
      return false;
    }
    if (wet == nullptr && dry.empty()) {
      return false;  // each of its looks was left out, and said
    }
    if (wet == nullptr && !(out.left > 0)) {
      leave("seal", "only-new", "it was looked at only when it was new", last);
      return false;
    }
    if (wet == nullptr && doubtful_ && number == seals_.size()) {
      leave("seal", "wet-when-bypassed",
            "dry before, then coolant on record together with the bypass: whether the seal leaked "
            "is open",
            last);
      return false;
    }
    out_.intervals.push_back(std::move(out));
    return true;
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
    // A key of the shop's own: the newest record that has it.
    for (std::size_t i = history_.records.size(); i-- > 0;) {
      for (const auto& [pointer, text] : history_.records[i].own) {
        if (pointer.substr(pointer.rfind('/') + 1) == by_) {
          const nlohmann::json value = nlohmann::json::parse(text, nullptr, false);
          if (value.is_string()) {
            return value.get<std::string>();
          }
          return value.is_number() || value.is_boolean() ? text : std::string();
        }
      }
    }
    return {};
  }

  const History& history_;
  const Knowledge& k_;
  OnsetAxis axis_;
  std::string_view by_;
  OnsetData& out_;
  Presentation seen_;
  std::vector<Seal> seals_;
  bool any_look_ = false;
  bool doubtful_ = false;  // coolant on record together with a bypass
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
