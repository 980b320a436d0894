#include "prove/space.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <string_view>

#include "base/json_out.hpp"
#include "dryshaft/prove.hpp"
#include "dryshaft/record.hpp"
#include "vocabulary/levels.hpp"

namespace dryshaft {
namespace {

using nlohmann::ordered_json;

constexpr std::string_view kToday = "2026-01-15";  // invented, as the unit is
constexpr std::string_view kUnit = "HL-0147";
constexpr double kVoltage = 400;
constexpr double kFarthest = 1e6;  // km

// Words one case as records, oldest first; whether they give that case back is
// for the caller to find out.
class Wording {
 public:
  Wording(const Knowledge& k, const Case& c, std::string_view family)
      : k_(k), c_(c), family_(family), today_(*parse_date(kToday)) {}

  std::optional<std::string> lines() {
    ordered_json newest = inspection(today_);
    unit(newest);
    drive(newest);
    noise(newest);
    insulation(newest);
    opened(newest);
    if (!port(newest) || !earlier_coolant() || !earlier_damage() || !possible_) {
      return std::nullopt;
    }
    older_.push_back(std::move(newest));
    std::ranges::stable_sort(older_, {}, [](const ordered_json& r) {
      return r["inspection"]["date"].get<std::string>();
    });
    std::string text;
    for (const ordered_json& r : older_) {
      text += json_out::of(r) + "\n";
    }
    return text;
  }

 private:
  static void put(ordered_json& record, Field field, ordered_json value) {
    record[ordered_json::json_pointer(std::string(spec(field).pointer))] = std::move(value);
  }
  // The level's own word, for fields that share their words with the finding.
  void word(ordered_json& record, Field field, Finding f) {
    if (c_.at(f) >= 0) {
      put(record, field, spec(f).levels[static_cast<std::size_t>(c_.at(f))].id);
    }
  }
  void flag(ordered_json& record, Field field, Finding f) {
    if (c_.at(f) >= 0) {
      put(record, field, c_.at(f) != 0);
    }
  }
  template <typename E>
  void known(ordered_json& record, Field field, Situation s, E unknown) {
    if (c_.at(s) != idx(unknown)) {
      put(record, field, spec(field).choices[c_.at(s)].id);
    }
  }

  [[nodiscard]] ordered_json inspection(int day) const {
    ordered_json record;
    put(record, Field::format, kRecordFormat);
    put(record, Field::unit_id, kUnit);
    if (!family_.empty()) {
      put(record, Field::family, family_);
    }
    put(record, Field::date, date_text(day));
    return record;
  }

  void unit(ordered_json& record) {
    const auto cooling = static_cast<Cooling>(c_.at(Situation::rotor_cooling));
    const auto crossover = static_cast<Crossover>(c_.at(Situation::crossover));
    const bool contradicted = c_.at(Situation::configuration) == idx(Configuration::contradicted);
    if (contradicted) {
      // Liquid coolant where a dry rotor is on file.
      put(record, Field::rotor_cooling,
          spec(Field::rotor_cooling)
              .choices[idx(crossover == Crossover::unknown ? Cooling::factory_dry
                                                           : Cooling::bypassed)]
              .id);
    } else {
      known(record, Field::rotor_cooling, Situation::rotor_cooling, Cooling::unknown);
    }
    if (crossover != Crossover::unknown) {
      put(record, Field::bypass_keeps_crossover, crossover == Crossover::kept);
    }
    known(record, Field::rotor_bearings, Situation::rotor_bearings, Bearings::unknown);
    known(record, Field::gear_bearings, Situation::gear_bearings, Bearings::unknown);
    bypassed_ = cooling == Cooling::bypassed;
    put(record, Field::odometer_km, c_.seal_km);
    if (c_.seal_years != c_.seal_km / k_.settings.km_per_year) {
      const int months = static_cast<int>(std::lround(c_.seal_years * 12));
      const std::string now(kToday.substr(0, 7));
      const int month = std::stoi(now.substr(0, 4)) * 12 + std::stoi(now.substr(5)) - 1 - months;
      possible_ = possible_ && month >= 12;
      if (possible_) {
        put(record, Field::built,
            date_text(days_from_date(month / 12, month % 12 + 1, 1)).substr(0, 7));
      }
    }
    const unsigned by = c_.at(Situation::by);
    if (by < spec(Field::by).choices.size()) {
      put(record, Field::by, spec(Field::by).choices[by].id);
    }
  }

  void drive(ordered_json& record) {
    word(record, Field::rotation, Finding::rotation);
    word(record, Field::fault_isolation, Finding::isolation_fault);
    flag(record, Field::fault_shutdown, Finding::shutdown);
    flag(record, Field::fault_reduced_power, Finding::reduced_power);
    const bool outside = c_.at(Finding::outside_leak) == level_of(Presence::present);
    if (outside) {
      put(record, Field::coolant_outside_leak_seen, true);
    }
    if (const auto l = named_level<Loss>(c_.at(Finding::coolant_loss))) {
      const Settings& s = k_.settings;
      // Next to a leak seen outside, a loss that it does not explain is an earlier one.
      ordered_json& then = outside ? older_.emplace_back(inspection(today_ - kEarlier)) : record;
      put(then, Field::coolant_loss_ml_per_1000km,
          l == Loss::none ? 0.0 : (l == Loss::some ? s.loss_some : s.loss_marked));
    }
    possible_ = possible_ && c_.at(Finding::outside_leak) != level_of(Presence::absent);
  }

  void noise(ordered_json& record) {
    flag(record, Field::noise_present, Finding::noise);
    if (const auto load = named_level<NoiseLoad>(c_.at(Finding::noise_load))) {
      put(record, Field::noise_when,
          load == NoiseLoad::under_load ? ordered_json{"accelerating"}
                                        : ordered_json{"accelerating", "coasting"});
    }
    flag(record, Field::noise_pitch_follows_speed, Finding::noise_pitch);
    flag(record, Field::noise_changes_with_steering_or_surface, Finding::noise_outside);
    word(record, Field::noise_onset, Finding::noise_onset);
    word(record, Field::noise_level, Finding::noise_level);
    for (const FindingSpec& f : findings()) {
      if (f.id >= Finding::recorded_rotor_bearing && f.id <= Finding::recorded_pattern) {
        word(record, f.from.front(), f.id);
      }
    }
  }

  void insulation(ordered_json& record) {
    const int l = c_.at(Finding::insulation);
    if (l < 0) {
      return;
    }
    const Settings& s = k_.settings;
    const double low = s.ohm_per_volt_low * kVoltage / 1e6;
    const double least = s.ohm_per_volt_least * kVoltage / 1e6;
    const double between[] = {100 * std::max(s.ieee43_mohm, low), std::sqrt(low * s.ieee43_mohm),
                              std::sqrt(least * low), least / 2};
    put(record, Field::system_voltage_v, kVoltage);
    put(record, Field::insulation_resistance_mohm, between[l]);
    put(record, Field::insulation_winding_temp_c, 40);
  }

  void opened(ordered_json& record) {
    for (const CauseSpec& cause : causes()) {
      for (const FindingSpec& f : findings()) {
        if (f.from_history && f.from.front() == cause.teardown) {
          word(record, cause.teardown, f.id);
        }
      }
    }
  }

  void at_port(ordered_json& record, bool with_liquid) {
    if (with_liquid) {
      word(record, Field::port_fluid, Finding::port_fluid);
      word(record, Field::port_fluid_kind, Finding::port_fluid_kind);
      if (c_.at(Finding::port_fluid_kind) == level_of(FluidKind::water)) {
        put(record, Field::port_glycol_percent, 0);
      }
    }
    flag(record, Field::port_dried_residue, Finding::port_residue);
    word(record, Field::port_corrosion, Finding::port_rust);
    word(record, Field::port_debris, Finding::port_debris);
  }

  bool port(ordered_json& newest) {
    const int fluid = c_.at(Finding::port_fluid);
    if (c_.at(Situation::port_check) != idx(PortCheck::not_made)) {
      // A weight tells the days: no distance was driven since.
      const double half = k_.settings.port_half_days;
      const double days = std::round(-std::log2(c_.port_weight) * half);
      if (!(days >= 0 && days < today_ - days_from_date(1, 1, 1))) {
        return false;
      }
      if (days == 0) {
        put(newest, Field::port_checked, true);
        at_port(newest, true);
        return true;
      }
      ordered_json& then = older_.emplace_back(inspection(today_ - static_cast<int>(days)));
      if (bypassed_) {
        then["unit"]["rotor_cooling"] = newest["unit"]["rotor_cooling"];
      }
      put(then, Field::odometer_km, c_.seal_km);
      put(then, Field::port_checked, true);
      at_port(then, true);
      return true;
    }
    const bool clean = std::ranges::any_of(findings(), [&](const FindingSpec& f) {
      return f.at_port && f.ordered && c_.at(f.id) == 0;
    });
    if (!clean) {
      at_port(newest, true);
      return fluid != 0;
    }
    // Looked at, but whether it was dry is not on record; liquid is from earlier.
    put(newest, Field::port_checked, true);
    at_port(newest, false);
    if (fluid > 0) {
      ordered_json& then = older_.emplace_back(inspection(today_ - kEarlier));
      if (bypassed_) {
        then["unit"]["rotor_cooling"] = newest["unit"]["rotor_cooling"];
      }
      word(then, Field::port_fluid, Finding::port_fluid);
      word(then, Field::port_fluid_kind, Finding::port_fluid_kind);
      if (c_.at(Finding::port_fluid_kind) == level_of(FluidKind::water)) {
        put(then, Field::port_glycol_percent, 0);
      }
    }
    return fluid != 0;
  }

  bool earlier_coolant() {
    const int earlier = c_.at(Finding::earlier_coolant);
    if (earlier == level_of(Presence::present)) {
      ordered_json& then = older_.emplace_back(inspection(oldest() - kEarlier));
      put(then, Field::port_fluid, spec(Field::port_fluid).choices[idx(Fluid::film)].id);
      put(then, Field::port_fluid_kind,
          spec(Finding::port_fluid_kind).levels[idx(FluidKind::coolant)].id);
    }
    return earlier != level_of(Presence::absent);  // which is never on record
  }

  // Rust, and the next day a tip without it.
  bool earlier_damage() {
    const int earlier = c_.at(Finding::earlier_damage);
    if (earlier == level_of(Presence::present)) {
      const int day = oldest() - kEarlier;
      const std::span<const Choice> words = spec(Field::port_corrosion).choices;
      put(older_.emplace_back(inspection(day)), Field::port_corrosion, words[idx(Rust::light)].id);
      ordered_json& gone = older_.emplace_back(inspection(day + 1));
      put(gone, Field::port_checked, true);
      put(gone, Field::port_corrosion, words[idx(Rust::none)].id);
    }
    return earlier != level_of(Presence::absent);
  }

  [[nodiscard]] int oldest() const {
    int day = today_;
    for (const ordered_json& r : older_) {
      day = std::min(day, *parse_date(r["inspection"]["date"].get<std::string>()));
    }
    return day;
  }

  static constexpr int kEarlier = 100;  // days

  const Knowledge& k_;
  const Case& c_;
  std::string_view family_;
  int today_;
  bool bypassed_ = false;
  bool possible_ = true;
  std::vector<ordered_json> older_;
};

bool same(const Case& a, const Case& b) {
  return a.level == b.level && a.situation == b.situation && a.seal_km == b.seal_km &&
         a.seal_years == b.seal_years && a.port_weight == b.port_weight;
}

}  // namespace

std::optional<std::string> record_of(const Knowledge& knowledge, const Case& c) {
  // A family other than the generic one only where the magnets ask for it.
  for (const bool generic : {true, false}) {
    for (const Family& family : knowledge.families) {
      if ((family.id == kGenericFamily) != generic ||
          idx(family.magnets) != c.at(Situation::rotor_magnets)) {
        continue;
      }
      std::optional<std::string> lines =
          Wording(knowledge, c, generic ? std::string_view() : family.id).lines();
      if (!lines) {
        continue;
      }
      const std::optional<History> history = proof::read_history(knowledge, *lines);
      if (!history) {
        continue;
      }
      const int today = static_cast<int>(history->records.back().at(Field::date).number);
      Case wanted = c;
      wanted.set(Situation::risk, RiskBand::low);
      if (same(present(*history, history->records.size(), knowledge, today).facts, wanted)) {
        return lines;
      }
    }
  }
  return std::nullopt;
}

namespace proof {

std::optional<History> read_history(const Knowledge& knowledge, const std::string& lines) {
  Records read = read_records(lines, "counterexample.jsonl", read_options(knowledge));
  if (read.rejected != 0 || read.records.empty()) {
    return std::nullopt;
  }
  Result<std::vector<History>> units = group_by_unit(std::move(read.records));
  if (!units.value || units.value->size() != 1) {
    return std::nullopt;
  }
  return std::move(units.value->front());
}

std::optional<History> history_of(const Knowledge& knowledge, const Case& c) {
  const std::optional<std::string> lines = record_of(knowledge, c);
  return lines ? read_history(knowledge, *lines) : std::nullopt;
}

void Mentions::add(const Condition& c) {
  for (const Condition::FindingIs& f : c.findings) {
    findings |= 1U << idx(f.finding);
  }
  for (const Condition::SituationIs& s : c.situations) {
    situations |= 1U << idx(s.situation);
  }
  causes = causes || !c.causes.empty();
  for (const std::vector<Condition>& list : c.any) {
    for (const Condition& one : list) {
      add(one);
    }
  }
  for (const Condition& one : c.none) {
    add(one);
  }
}

Mentions mentions_of(const Condition& condition) {
  Mentions m;
  m.add(condition);
  return m;
}

void Draft::leave_out(Finding f) {
  set(f, -1);
  drop_what_does_not_exist(level);
}

std::size_t Draft::observed() const {
  return static_cast<std::size_t>(std::ranges::count_if(level, [](int l) { return l >= 0; }));
}

bool Space::possible(const Draft& d) {
  for (const FindingSpec& f : findings()) {
    if ((d.at(f.id) >= 0 && !exists(f.id, d.level)) || (f.never_absent && d.at(f.id) == 0)) {
      return false;
    }
  }
  if (d.at(Finding::outside_leak) == level_of(Presence::present) &&
      d.at(Finding::coolant_loss) == level_of(Loss::none)) {
    return false;  // what is lost is put down to the leak
  }
  const int fluid = d.at(Finding::port_fluid);
  const bool made = d.look.check != PortCheck::not_made;
  if (made ? fluid < 0 : fluid == 0) {
    return false;
  }
  // Earlier coolant is known only where the port is dry now, or where a bypass
  // put an end to what was seen before it.
  const int earlier = d.at(Finding::earlier_coolant);
  return earlier < 0 || (earlier == level_of(Presence::present) && fluid <= 0 &&
                         (fluid == 0 || d.unit.cooling == Cooling::bypassed));
}

Case Space::realize(const Draft& d) const {
  Case c = empty_case();
  c.level = d.level;
  c.set(Situation::rotor_cooling, d.unit.cooling);
  c.set(Situation::rotor_bearings, d.unit.rotor);
  c.set(Situation::gear_bearings, d.unit.gear);
  c.set(Situation::crossover, d.unit.crossover);
  c.set(Situation::rotor_magnets, d.unit.magnets);
  c.set(Situation::by, d.unit.by);
  if ((d.unit.cooling == Cooling::bypassed || d.unit.cooling == Cooling::factory_dry) &&
      d.at(Finding::port_fluid) > 0 &&
      d.at(Finding::port_fluid_kind) == level_of(FluidKind::coolant)) {
    c.set(Situation::rotor_cooling, Cooling::wet);
    c.set(Situation::configuration, Configuration::contradicted);
  }
  c.set(Situation::port_check, d.look.check);
  c.port_weight = d.look.weight;
  c.seal_km = d.km;
  c.seal_years = d.km / knowledge.settings.km_per_year;
  return c;
}

Space::Space(const Knowledge& k, const Model& m) : knowledge(k), model(m) {
  Mentions mentions = mentions_of(k.settings.ungraded);
  mentions.add(k.settings.sound);
  for (const Floor& f : k.floors) {
    mentions.add(f.when);
  }
  graded = mentions.situations;
  for (const CauseRule& c : k.causes) {
    if (c.by) {
      graded |= 1U << idx(*c.by);
    }
  }
  configurations = configurations_by(graded);

  // A check made today; one just recent enough; one just too old; one long ago.
  const Settings& s = k.settings;
  const double last = std::floor(-std::log2(s.port_stale_below) * s.port_half_days);
  looks.push_back({PortCheck::not_made, 1});
  for (const double days : {0.0, last, last + 1, 4 * last + 4}) {
    const double weight = std::exp2(-(0.0 / s.port_half_km + days / s.port_half_days));
    const Look look{weight < s.port_stale_below ? PortCheck::stale : PortCheck::fresh, weight};
    if (looks.size() == 1 || weight < looks.back().weight) {
      looks.push_back(look);
    }
  }

  // Where distance alone takes the risk over a threshold, both whole km around it.
  distances = {0, kFarthest};
  double unknown_km = 0;
  for (const CauseRule& c : k.causes) {
    unknown_km = c.wear ? std::max(unknown_km, c.wear->unknown_km) : unknown_km;
  }
  distances.push_back(unknown_km);
  for (const AsBuilt& unit : configurations.all) {
    Draft d;
    d.unit = unit;
    for (const double limit : {s.risk_raised, s.risk_high}) {
      if (const auto around = crossing(d, limit)) {
        distances.push_back(around->first);
        distances.push_back(around->second);
      }
    }
  }
  std::ranges::sort(distances);
  distances.erase(std::unique(distances.begin(), distances.end()), distances.end());

  Levels dry = nothing_observed();
  dry[idx(Finding::port_fluid)] = 0;
  Levels clean = dry;
  for (const FindingSpec& f : findings()) {
    if (f.at_port && f.ordered) {
      clean[idx(f.id)] = 0;
    }
  }
  bases = {nothing_observed(), dry, clean};
}

Configurations Space::configurations_by(std::uint32_t situations) const {
  const auto values = [&](Situation s, auto of_none, auto... others) {
    return (situations >> idx(s) & 1U) != 0 ? std::vector{of_none, others...}
                                            : std::vector{of_none};
  };
  const auto crossovers =
      values(Situation::crossover, Crossover::unknown, Crossover::kept, Crossover::dropped);
  const auto looked = values(Situation::by, 3, 2, 1, 0);
  std::vector<Magnets> magnets = {knowledge.family(kGenericFamily).magnets};
  if ((situations >> idx(Situation::rotor_magnets) & 1U) != 0) {
    for (const Family& f : knowledge.families) {
      if (std::ranges::find(magnets, f.magnets) == magnets.end()) {
        magnets.push_back(f.magnets);
      }
    }
  }
  std::vector<AsBuilt> few;
  std::vector<AsBuilt> described;
  std::vector<AsBuilt> others;
  const auto add = [&](const AsBuilt& unit) {
    Draft d;
    d.unit = unit;
    if (!record_of(knowledge, realize(d))) {
      others.push_back(unit);
    } else if (std::ranges::none_of(few, [&](const AsBuilt& known) {
                 return known.cooling == unit.cooling && known.magnets == unit.magnets;
               })) {
      few.push_back(unit);
    } else {
      described.push_back(unit);
    }
  };
  for (const Magnets rotor_magnets : magnets) {
    for (const Cooling cooling :
         {Cooling::unknown, Cooling::wet, Cooling::bypassed, Cooling::factory_dry}) {
      for (const Bearings rotor : {Bearings::unknown, Bearings::steel, Bearings::hybrid}) {
        for (const Bearings gear : {Bearings::unknown, Bearings::steel, Bearings::hybrid}) {
          for (const Crossover crossover : crossovers) {
            for (const int by : looked) {
              add({cooling, rotor, gear, crossover, static_cast<std::uint8_t>(by), rotor_magnets});
            }
          }
        }
      }
    }
  }
  Configurations built;
  built.few = few.size();
  built.describable = few.size() + described.size();
  built.all = std::move(few);
  built.all.insert(built.all.end(), described.begin(), described.end());
  built.all.insert(built.all.end(), others.begin(), others.end());
  return built;
}

std::optional<std::pair<double, double>> Space::crossing(Draft d, double limit) const {
  const auto below = [&](double km) {
    d.km = km;
    const Case c = realize(d);
    return model.graded_risk(c, model.unworn(c)) < limit;
  };
  double low = 0;
  double high = kFarthest;
  if (!below(low) || below(high)) {
    return std::nullopt;
  }
  while (high - low > 1) {
    const double middle = std::floor((low + high) / 2);
    (below(middle) ? low : high) = middle;
  }
  return std::pair(low, high);
}

std::vector<std::vector<std::pair<Finding, int>>> Space::picks(std::size_t most) const {
  std::vector<std::vector<std::pair<Finding, int>>> all = {{}};
  std::size_t from = 0;
  for (std::size_t n = 0; n < most; ++n) {
    const std::size_t to = all.size();
    for (std::size_t i = from; i < to; ++i) {
      const std::size_t next = all[i].empty() ? 0 : idx(all[i].back().first) + 1;
      for (std::size_t f = next; f < kFindingCount; ++f) {
        const auto finding = static_cast<Finding>(f);
        for (std::size_t l = 0; l < spec(finding).levels.size(); ++l) {
          auto more = all[i];
          more.emplace_back(finding, static_cast<int>(l));
          all.push_back(std::move(more));
        }
      }
    }
    from = to;
  }
  return all;
}

std::string place(const Item& item) {
  return fmt::format("{} ({}:{})", item.id, item.file, item.line);
}

}  // namespace proof
}  // namespace dryshaft
