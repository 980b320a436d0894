#include "prove/space.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <memory>
#include <nlohmann/json.hpp>
#include <string_view>

#include "base/json_out.hpp"
#include "diagnose/course.hpp"
#include "dryshaft/prove.hpp"
#include "dryshaft/record.hpp"
#include "vocabulary/levels.hpp"

namespace dryshaft {
namespace {

using nlohmann::ordered_json;

constexpr std::string_view kToday = "2026-01-15";  // invented, as the unit is
constexpr std::string_view kUnit = "HL-0147";
constexpr double kVoltage = 400;
constexpr double kFarthest = 1e6;      // km
constexpr double kLongestAgo = 36525;  // days

// Words one case as records, a look each, oldest first; whether they give that case back is
// for the caller to find out.
class Wording {
 public:
  Wording(const Knowledge& k, const Case& c, std::string_view family)
      : k_(k), c_(c), family_(family) {}

  std::optional<std::string> lines() {
    const auto bypassed = idx(Cooling::bypassed);
    const int today = *parse_date(kToday);
    std::string text;
    if (c_.course) {
      for (const Leg& leg : c_.course->legs) {
        if (!leg.look) {
          continue;
        }
        const double days = std::round((c_.seal_years - leg.to.seal_years) * kDaysPerYear);
        if (!(days >= 0 && days < today - days_from_date(1, 1, 1))) {
          return std::nullopt;
        }
        // What was seen before a bypass says nothing of it.
        const bool before =
            c_.at(Situation::rotor_cooling) == bypassed && idx(leg.to.cooling) != bypassed;
        ordered_json then = inspection(today - static_cast<int>(days), before);
        look(then, leg.seen, is_port_check(leg));
        text += json_out::of(then) + "\n";
      }
    }
    ordered_json newest = inspection(today, false);
    if (const unsigned by = c_.at(Situation::by); by < spec(Field::by).choices.size()) {
      put(newest, Field::by, spec(Field::by).choices[by].id);
    }
    Levels seen = c_.level;
    for (const FindingSpec& f : findings()) {
      if ((c_.earlier >> idx(f.id) & 1U) != 0) {
        seen[idx(f.id)] = -1;
      }
    }
    look(newest, seen,
         seen[idx(Finding::port_fluid)] == 0 ||
             c_.at(Situation::port_check) == idx(PortCheck::fresh));
    return text + json_out::of(newest) + "\n";
  }

 private:
  static void put(ordered_json& record, Field field, ordered_json value) {
    record[ordered_json::json_pointer(std::string(spec(field).pointer))] = std::move(value);
  }
  template <typename E>
  void known(ordered_json& record, Field field, Situation s, E unknown) const {
    if (c_.at(s) != idx(unknown)) {
      put(record, field, spec(field).choices[c_.at(s)].id);
    }
  }

  [[nodiscard]] ordered_json inspection(int day, bool before_bypass) const {
    ordered_json record;
    put(record, Field::format, kRecordFormat);
    put(record, Field::unit_id, kUnit);
    if (!family_.empty()) {
      put(record, Field::family, family_);
    }
    put(record, Field::date, date_text(day));
    put(record, Field::odometer_km, c_.seal_km);
    const auto crossover = static_cast<Crossover>(c_.at(Situation::crossover));
    if (c_.at(Situation::configuration) == idx(Configuration::contradicted)) {
      // Liquid coolant where a dry rotor is on file.
      const Cooling dry =
          crossover == Crossover::unknown ? Cooling::factory_dry : Cooling::bypassed;
      put(record, Field::rotor_cooling, spec(Field::rotor_cooling).choices[idx(dry)].id);
    } else if (!before_bypass) {
      known(record, Field::rotor_cooling, Situation::rotor_cooling, Cooling::unknown);
    }
    if (crossover != Crossover::unknown && !before_bypass) {
      put(record, Field::bypass_keeps_crossover, crossover == Crossover::kept);
    }
    known(record, Field::rotor_bearings, Situation::rotor_bearings, Bearings::unknown);
    known(record, Field::gear_bearings, Situation::gear_bearings, Bearings::unknown);
    return record;
  }

  // Of a check that grew old, the case has the findings.
  [[nodiscard]] bool is_port_check(const Leg& leg) const {
    return c_.at(Situation::port_check) != idx(PortCheck::not_made) &&
           leg.seen[idx(Finding::port_fluid)] >= 0 &&
           std::ranges::all_of(findings(), [&](const FindingSpec& f) {
             return !f.at_port || leg.seen[idx(f.id)] == c_.at(f.id);
           });
  }

  void look(ordered_json& record, const Levels& seen, bool port_checked) const {
    const auto at = [&](Finding f) { return static_cast<int>(seen[idx(f)]); };
    // The level's own word, for fields that share their words with the finding.
    const auto word = [&](Field field, Finding f) {
      if (at(f) >= 0) {
        put(record, field, spec(f).levels[static_cast<std::size_t>(at(f))].id);
      }
    };
    const auto flag = [&](Field field, Finding f) {
      if (at(f) >= 0) {
        put(record, field, at(f) != 0);
      }
    };
    word(Field::rotation, Finding::rotation);
    if (const auto drags = named_level<FaultPlace>(at(Finding::drag_place))) {
      put(record, Field::drag_elsewhere, drags == FaultPlace::elsewhere);
    }
    word(Field::gear_oil, Finding::gear_oil);
    word(Field::fault_isolation, Finding::isolation_fault);
    if (at(Finding::isolation_fault) == level_of(Isolation::elsewhere)) {
      put(record, Field::fault_isolation, "stored");
      put(record, Field::fault_isolation_place, "elsewhere");
    }
    flag(Field::fault_shutdown, Finding::shutdown);
    if (at(Finding::shutdown) == level_of(Shutdown::explained)) {
      put(record, Field::fault_codes_read, true);
    }
    flag(Field::fault_reduced_power, Finding::reduced_power);
    flag(Field::coolant_outside_leak_seen, Finding::outside_leak);
    if (const auto l = named_level<Loss>(at(Finding::coolant_loss))) {
      const Settings& s = k_.settings;
      put(record, Field::coolant_loss_ml_per_1000km,
          l == Loss::none ? 0.0 : (l == Loss::some ? s.loss_some : s.loss_marked));
    }

    flag(Field::noise_present, Finding::noise);
    if (const auto load = named_level<NoiseLoad>(at(Finding::noise_load))) {
      put(record, Field::noise_when,
          load == NoiseLoad::under_load ? ordered_json{"accelerating"}
                                        : ordered_json{"accelerating", "coasting"});
    }
    flag(Field::noise_pitch_follows_speed, Finding::noise_pitch);
    flag(Field::noise_changes_with_steering_or_surface, Finding::noise_outside);
    word(Field::noise_onset, Finding::noise_onset);
    word(Field::noise_level, Finding::noise_level);
    for (const FindingSpec& f : findings()) {
      if (f.id >= Finding::recorded_rotor_bearing && f.id <= Finding::recorded_pattern) {
        word(f.from.front(), f.id);
      }
    }

    insulation(record, at(Finding::insulation));
    for (const CauseSpec& cause : causes()) {
      for (const FindingSpec& f : findings()) {
        if (f.from_history && f.from.front() == cause.teardown) {
          word(cause.teardown, f.id);
        }
      }
    }

    const bool clean = std::ranges::any_of(
        findings(), [&](const FindingSpec& f) { return f.at_port && f.ordered && at(f.id) == 0; });
    if (port_checked || clean) {
      put(record, Field::port_checked, true);
    }
    word(Field::port_fluid, Finding::port_fluid);
    word(Field::port_fluid_kind, Finding::port_fluid_kind);
    if (at(Finding::port_fluid_kind) == level_of(FluidKind::water)) {
      put(record, Field::port_glycol_percent, 0);
    }
    flag(Field::port_dried_residue, Finding::port_residue);
    word(Field::port_corrosion, Finding::port_rust);
    word(Field::port_debris, Finding::port_debris);
  }

  void insulation(ordered_json& record, int level) const {
    if (level < 0) {
      return;
    }
    const Settings& s = k_.settings;
    const double low = s.ohm_per_volt_low * kVoltage / 1e6;
    const double least = s.ohm_per_volt_least * kVoltage / 1e6;
    const double between[] = {100 * std::max(s.ieee43_mohm, low), std::sqrt(low * s.ieee43_mohm),
                              std::sqrt(least * low), least / 2};
    put(record, Field::system_voltage_v, kVoltage);
    put(record, Field::insulation_resistance_mohm, between[level]);
    put(record, Field::insulation_winding_temp_c, 40);
  }

  const Knowledge& k_;
  const Case& c_;
  std::string_view family_;
};

// Whether all that counts is the same.
bool same(const Case& a, const Case& b) {
  const auto clocks = [](const Clock& x, const Clock& y) {
    return x.seal_km == y.seal_km && x.seal_years == y.seal_years && x.rotor_km == y.rotor_km &&
           x.gear_km == y.gear_km && x.cooling == y.cooling && x.rotor == y.rotor &&
           x.gear == y.gear;
  };
  const auto legs = [&](const Leg& x, const Leg& y) {
    return clocks(x.from, y.from) && clocks(x.to, y.to) && x.seen == y.seen && x.ends == y.ends &&
           x.bypassed_on_the_way == y.bypassed_on_the_way && x.new_seal == y.new_seal &&
           x.look.has_value() == y.look.has_value();
  };
  return a.level == b.level && a.situation == b.situation && a.seal_km == b.seal_km &&
         a.seal_years == b.seal_years && a.earlier == b.earlier &&
         (a.course == nullptr) == (b.course == nullptr) &&
         (!a.course || (clocks(a.course->end, b.course->end) &&
                        std::ranges::equal(a.course->legs, b.course->legs, legs)));
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

std::array<int, 4> Draft::moments() const {
  const auto is = [&](Finding f) { return at(f) == level_of(Presence::present) ? 1 : 0; };
  const int loss = at(Finding::coolant_loss) >= 0 ? is(Finding::outside_leak) : 0;
  return {look.days, loss, is(Finding::earlier_damage), is(Finding::earlier_coolant)};
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
  if (!made && fluid > 0 && std::ranges::any_of(findings(), [&](const FindingSpec& f) {
        return f.at_port && f.ordered && d.at(f.id) == 0;
      })) {
    return false;  // what is harmless counts where the port was checked, and so does its liquid
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
  c.seal_km = d.km;
  c.seal_years = d.km / knowledge.settings.km_per_year;
  earlier_looks(d, c);
  return c;
}

namespace {

struct PastLook {
  int days_ago;
  Levels seen;
  bool before_bypass = false;
};

// The looks, oldest first, without which the newest record alone could not give this draft.
std::vector<PastLook> looks_before(const Draft& d) {
  constexpr int kEarlier = 100;  // days
  const auto moments = d.moments();
  const auto& [check, loss, damage, coolant] = moments;
  std::vector<PastLook> looks;
  // What has gone since, longest ago: rust, and the next day a tip without it; coolant.
  const int from = std::max<int>(check, loss * kEarlier);
  const auto gone = [&looks, from](int days,
                                   std::initializer_list<std::pair<Finding, int>> levels) {
    PastLook& then = looks.emplace_back(PastLook{from + days, nothing_observed(), true});
    for (const auto& [f, l] : levels) {
      then.seen[idx(f)] = static_cast<std::int8_t>(l);
    }
  };
  if (damage != 0) {
    gone(2 * kEarlier, {{Finding::port_rust, level_of(Rust::light)}});
    gone(2 * kEarlier - 1, {{Finding::port_rust, level_of(Rust::none)}});
  }
  if (coolant != 0) {
    gone(kEarlier, {{Finding::port_fluid, level_of(Fluid::film)},
                    {Finding::port_fluid_kind, level_of(FluidKind::coolant)}});
  }
  if (check > 0) {
    PastLook& then = looks.emplace_back(PastLook{check, nothing_observed()});
    for (const FindingSpec& f : findings()) {
      then.seen[idx(f.id)] = f.at_port ? d.level[idx(f.id)] : std::int8_t{-1};
    }
  }
  if (loss != 0) {
    // Next to a leak seen outside, a loss that it does not explain is an earlier one.
    PastLook& then = looks.emplace_back(PastLook{kEarlier, nothing_observed()});
    then.seen[idx(Finding::coolant_loss)] = d.level[idx(Finding::coolant_loss)];
  }
  std::ranges::stable_sort(looks, std::greater(), &PastLook::days_ago);
  return looks;
}

}  // namespace

// As `course_of` words them.
void Space::earlier_looks(const Draft& d, Case& c) const {
  const std::vector<PastLook> past = looks_before(d);
  if (past.empty()) {
    return;
  }
  auto course = std::make_shared<Course>();
  Clock clock;
  const auto cooling = static_cast<Cooling>(c.at(Situation::rotor_cooling));
  clock.cooling = cooling == Cooling::bypassed ? Cooling::wet : cooling;
  clock.rotor = d.unit.rotor;
  clock.gear = d.unit.gear;
  const double first_years = c.seal_years;  // by distance; from there on by the calendar
  const int first = past.front().days_ago;
  const auto drive = [&](int days_ago, bool bypassed) -> Leg& {
    const double years = first_years + (first - days_ago) / kDaysPerYear;
    Leg& leg = course->legs.emplace_back();
    leg.from = clock;
    clock = clock.later(d.km - clock.seal_km, years - clock.seal_years);
    leg.bypassed_on_the_way = bypassed && clock.cooling != Cooling::bypassed;
    clock.cooling = bypassed ? Cooling::bypassed : clock.cooling;
    leg.to = clock;
    leg.seen.fill(-1);
    return leg;
  };
  for (const PastLook& look : past) {
    Leg& leg = drive(look.days_ago, cooling == Cooling::bypassed && !look.before_bypass);
    leg.seen = look.seen;
    leg.look = course->legs.size() - 1;
    for (const FindingSpec& f : findings()) {
      const bool counts = look.seen[idx(f.id)] >= 0 && !look.before_bypass;
      c.earlier |= counts ? 1U << idx(f.id) : 0U;
    }
  }
  if (cooling == Cooling::bypassed && clock.cooling != cooling) {
    drive(0, true);
  }
  clock.cooling = cooling;
  course->end = clock;
  c.seal_years = clock.later(0, first_years + first / kDaysPerYear - clock.seal_years).seal_years;
  c.course = std::move(course);
}

Space::Space(const Knowledge& k, const Model& m) : knowledge(k), model(m) {
  Mentions mentions = mentions_of(k.settings.ungraded);
  mentions.add(k.settings.sound);
  for (const Floor& f : k.floors) {
    mentions.add(f.when);
  }
  graded = mentions.situations;
  configurations = configurations_by(graded);

  // A check made today, and one just too old.
  const Settings& s = k.settings;
  looks = {{PortCheck::not_made, 0},
           {PortCheck::fresh, 0},
           {PortCheck::stale, static_cast<int>(std::min(s.port_stale_days, kLongestAgo)) + 1}};

  // Where distance alone takes the risk over a threshold, both whole km around it.
  distances = {0, kFarthest};
  double unknown_km = 0;
  for (const CauseRule& c : k.causes) {
    unknown_km = c.wear ? std::max(unknown_km, c.wear->unknown_km) : unknown_km;
  }
  distances.push_back(unknown_km);
  Priors priors(model);
  for (const AsBuilt& unit : configurations.all) {
    Draft d;
    d.unit = unit;
    for (const double limit : {s.risk_raised, s.risk_high}) {
      if (const auto around = crossing(d, limit, priors)) {
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

std::optional<std::pair<double, double>> Space::crossing(Draft d, double limit,
                                                         Priors& priors) const {
  const auto below = [&](double km) {
    d.km = km;
    const Case c = realize(d);
    return model.graded_risk(c, priors.of(c)) < limit;
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

const Prior& Priors::of(const Case& c) {
  std::string key;
  const auto add = [&](const auto& value) {
    key.append(reinterpret_cast<const char*>(&value), sizeof value);
  };
  add(c.seal_km);
  add(c.seal_years);
  for (const Situation s :
       {Situation::rotor_cooling, Situation::rotor_bearings, Situation::gear_bearings}) {
    add(c.situation[idx(s)]);
  }
  add(c.level[idx(Finding::opened_seal_leak)]);
  if (c.course) {
    for (const Leg& leg : c.course->legs) {
      add(leg.to.seal_years);
      add(leg.bypassed_on_the_way);
      add(leg.seen);
    }
  }
  constexpr std::size_t kMost = 4096;
  if (kept_.size() >= kMost && !kept_.contains(key)) {
    kept_.clear();
  }
  const auto [at, is_new] = kept_.try_emplace(std::move(key));
  if (is_new) {
    at->second = model_.prior(c);
  }
  return at->second;
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
