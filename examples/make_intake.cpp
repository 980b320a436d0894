// Makes examples/intake.jsonl: a year of units at the intake desk of "Harrow Lane Drive Works".
//
//     make_intake > examples/intake.jsonl
//
// All data are invented: the workshop, the families, the cars, every unit, every number in the
// model below. They show how the program is used and say nothing about any real drive unit.
//
// Each unit first gets a truth (distance on its seal, leak and how far it has come, bearings,
// insulation, noise), then somebody writes down a part of what shows. The truth is not printed,
// except where a unit is said to have been opened.
//
// The draws are integers with a fixed seed, so that the same bytes come out on every machine.
#include <algorithm>
#include <array>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <iostream>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>

#include "draw.hpp"

namespace {

using Json = nlohmann::ordered_json;

constexpr std::uint64_t kSeed = 147;
constexpr int kUnits = 300;
constexpr int kFirstNumber = 201;  // HL-0201

// Months since year 0, as years are counted here.
constexpr int month(int year, int month_of_year) { return year * 12 + month_of_year - 1; }
std::string month_text(int months) {
  std::array<char, 16> text{};
  std::snprintf(text.data(), text.size(), "%04d-%02d", months / 12, months % 12 + 1);
  return text.data();
}
std::string day_text(std::chrono::sys_days day) {
  const std::chrono::year_month_day d{day};
  std::array<char, 32> text{};
  std::snprintf(text.data(), text.size(), "%04d-%02u-%02u", static_cast<int>(d.year()),
                static_cast<unsigned>(d.month()), static_cast<unsigned>(d.day()));
  return text.data();
}

enum class Family { plover_2, dunlin_1 };
enum class Cooling { wet, bypassed, factory_dry };
// How far a leak has come.
enum class Leak { none, dried_up, film, droplets, long_standing, late };

struct Truth {
  Family family = Family::plover_2;
  bool corrie = false;
  int built = 0;  // months
  int odometer = 0;
  int fitted = 0;  // odometer
  int seal_renewed = 0;
  Cooling cooling = Cooling::wet;
  bool crossover_kept = true;
  bool steel_rotor_bearings = false;
  bool hybrid_gear_bearings = false;
  Leak leak = Leak::none;
  bool corrosion = false;
  bool rotor_erosion = false;
  bool gear_erosion = false;
  bool insulation_loss = false;
  bool outside_noise = false;
  bool seized = false;
  bool gear_oil = false;
  bool condensate = false;

  [[nodiscard]] bool wet_now() const { return leak >= Leak::film; }
  [[nodiscard]] bool bearing_noise() const { return corrosion || rotor_erosion || gear_erosion; }
  [[nodiscard]] bool noise() const { return bearing_noise() || outside_noise; }
};

// Kilometres on a seal until it leaks, at each tenth of all seals.
constexpr std::array<int, 11> kSealLife = {28'000,  92'000,  124'000, 149'000, 171'000, 193'000,
                                           216'000, 242'000, 274'000, 322'000, 520'000};
int seal_life(Draw& draw) {
  const int thousandth = draw.below(1000);
  const auto tenth = static_cast<std::size_t>(thousandth / 100);
  const int step = kSealLife[tenth + 1] - kSealLife[tenth];
  return kSealLife[tenth] + step / 100 * (thousandth % 100);
}

Leak leak_after(int km, Draw& draw) {
  if (km < 0) {
    return Leak::none;
  }
  if (km < 7'000) {
    return draw.percent(25) ? Leak::dried_up : Leak::film;
  }
  if (km < 20'000) {
    return draw.percent(10) ? Leak::dried_up : Leak::droplets;
  }
  return km < 48'000 ? Leak::long_standing : Leak::late;
}

Truth make_truth(int today, Draw& draw) {
  Truth t;
  t.family = draw.percent(74) ? Family::plover_2 : Family::dunlin_1;
  t.corrie = draw.percent(45);
  const bool plover = t.family == Family::plover_2;
  t.built = plover ? draw.between(month(2013, 3), month(2022, 12))
                   : draw.between(month(2018, 2), month(2024, 3));
  // The sum of two draws: most drive a middling distance a year, few very little or very much.
  const int km_a_year = 6'000 + draw.below(14'000) + draw.below(14'000);
  t.odometer = (today - t.built) * km_a_year / 12 / 10 * 10 + draw.below(10);
  t.fitted = draw.percent(12) ? draw.between(t.odometer / 4, t.odometer * 3 / 4) : 0;
  const bool renewed = draw.percent(11);
  t.seal_renewed = renewed ? draw.between(t.fitted + (t.odometer - t.fitted) / 3, t.odometer) : 0;
  t.hybrid_gear_bearings = renewed && draw.percent(60);
  t.steel_rotor_bearings = plover && t.built < month(2016, 5) && !(renewed && draw.percent(80));

  if (!plover && t.built >= month(2021, 9)) {
    t.cooling = Cooling::factory_dry;
  } else if (draw.percent(5)) {
    t.cooling = Cooling::bypassed;
    t.crossover_kept = draw.percent(70);
  }
  const int seal_km = t.odometer - std::max(t.fitted, t.seal_renewed);
  const int leaking_km = seal_km - seal_life(draw);
  if (t.cooling == Cooling::wet) {
    t.leak = leak_after(leaking_km, draw);
  }

  const bool old_leak = t.leak >= Leak::long_standing;
  t.corrosion = (old_leak && draw.percent(80)) || (t.leak == Leak::droplets && draw.percent(30));
  t.insulation_loss = (t.leak == Leak::late && draw.percent(50)) ||
                      (t.leak == Leak::long_standing && draw.percent(12)) || draw.percent(1);
  t.seized = t.leak == Leak::late && t.corrosion && draw.percent(25);
  t.rotor_erosion = t.steel_rotor_bearings && draw.percent(t.odometer > 90'000 ? 45 : 15);
  t.gear_erosion = !t.hybrid_gear_bearings && draw.percent(std::min(40, t.odometer / 5'000));
  t.outside_noise = draw.percent(9);
  t.gear_oil = draw.percent(4);
  t.condensate = t.leak == Leak::none && draw.percent(3);
  return t;
}

enum class Writer { thorough, quick, bare, owner };

Json unit_part(const Truth& t, Writer writer, const std::string& id, Draw& draw) {
  Json unit = {{"id", id}};
  const bool bare = writer == Writer::bare;
  if (draw.percent(bare ? 45 : 88)) {
    unit["family"] = t.family == Family::plover_2 ? "plover-2" : "dunlin-1";
  }
  if (unit.contains("family") && t.family == Family::plover_2 && draw.percent(80)) {
    unit["vehicle"] = t.corrie ? "Corrie" : "Tarn";
  }
  if (draw.percent(bare ? 20 : 85)) {
    unit["built"] = draw.percent(75) ? month_text(t.built) : month_text(t.built).substr(0, 4);
  }
  if (writer == Writer::thorough) {
    if (t.steel_rotor_bearings && draw.percent(30)) {
      unit["rotor_bearings"] = "steel";
    }
    if (t.hybrid_gear_bearings && draw.percent(70)) {
      unit["gear_bearings"] = "hybrid";
    } else if (draw.percent(10)) {
      unit["gear_bearings"] = "unknown";
    }
  }
  if (t.cooling == Cooling::bypassed && draw.percent(bare ? 30 : 90)) {
    unit["rotor_cooling"] = "bypassed";
    if (draw.percent(70)) {
      unit["bypass_keeps_crossover"] = t.crossover_kept;
    }
  } else if (t.cooling == Cooling::factory_dry && draw.percent(15)) {
    unit["rotor_cooling"] = "factory-dry";
  }
  if (t.fitted > 0 && draw.percent(bare ? 20 : 70)) {
    unit["fitted_odometer_km"] = t.fitted;
  }
  if (t.seal_renewed > 0 && draw.percent(bare ? 20 : 75)) {
    unit["seal_renewed_odometer_km"] = t.seal_renewed;
  }
  return unit;
}

// The liquid on the tip, as seen.
const char* fluid_seen(const Truth& t, Draw& draw) {
  switch (t.leak) {
    case Leak::film:
      return "film";
    case Leak::droplets:
      return draw.percent(75) ? "droplets" : "film";
    case Leak::long_standing:
      return draw.percent(80) ? "droplets" : "pooled";
    case Leak::late:
      return draw.percent(60) ? "pooled" : "droplets";
    case Leak::none:
    case Leak::dried_up:
      break;
  }
  return t.gear_oil || t.condensate ? "film" : "none";
}

Json port_part(const Truth& t, Writer writer, Draw& draw) {
  const bool looked =
      writer == Writer::thorough ? draw.percent(96) : writer == Writer::quick && draw.percent(62);
  if (!looked) {
    return draw.percent(60) ? Json{{"checked", false}} : Json();
  }
  Json port = {{"checked", true}, {"fluid", fluid_seen(t, draw)}};
  const bool thorough = writer == Writer::thorough;
  if (t.wet_now()) {
    if (draw.percent(thorough ? 85 : 50)) {
      port["fluid_kind"] = "coolant";
    } else if (draw.percent(50)) {
      port["fluid_kind"] = "unknown";
    }
    if (thorough && draw.percent(45)) {
      port["glycol_percent"] = draw.between(34, 52);
    }
  } else if (t.gear_oil && t.leak == Leak::none) {
    port["fluid_kind"] = draw.percent(85) ? "gear-oil" : "unknown";
  } else if (t.condensate) {
    port["fluid_kind"] = "water";
    if (thorough) {
      port["glycol_percent"] = 0;
    }
  } else if (draw.percent(1)) {
    port["glycol_percent"] = draw.between(35, 50);  // a slip of the pen: the tip was dry
  }
  if (thorough || draw.percent(35)) {
    port["dried_residue"] =
        t.leak == Leak::dried_up || (t.leak >= Leak::droplets && draw.percent(70));
  }
  if (thorough || draw.percent(50)) {
    const char* rust = "none";
    if (t.leak >= Leak::long_standing) {
      rust = t.corrosion && draw.percent(60) ? "heavy" : "light";
    } else if (t.corrosion) {
      rust = "light";
    }
    port["corrosion"] = rust;
  }
  if (thorough) {
    const bool worn = t.bearing_noise();
    port["debris"] = t.seized && draw.percent(60)   ? "chips"
                     : draw.percent(worn ? 55 : 15) ? "fine"
                                                    : "none";
  }
  return port;
}

Json noise_part(const Truth& t, Writer writer, bool drivable, Draw& draw) {
  // Most units arrive on a pallet, where nobody can hear them.
  const int known = writer == Writer::owner ? 100 : writer == Writer::bare ? 10 : 55;
  if (!drivable || !draw.percent(known)) {
    return {};
  }
  // Owners get used to a slow change.
  const bool heard = t.noise() && draw.percent(writer == Writer::owner ? 65 : 92);
  Json noise = {{"present", heard}};
  if (!heard) {
    return noise;
  }
  if (draw.percent(70)) {
    noise["onset"] = draw.percent(65)   ? "gradual"
                     : draw.percent(40) ? "always"
                     : draw.percent(50) ? "sudden"
                                        : "unknown";
  }
  if (draw.percent(25) && t.odometer > 20'000) {
    noise["onset_odometer_km"] =
        draw.between(std::max(t.fitted, t.odometer * 2 / 3), t.odometer) / 500 * 500;
  }
  const bool outside_only = t.outside_noise && !t.bearing_noise();
  if (draw.percent(75)) {
    Json when = {"accelerating"};
    if (outside_only) {
      when = {"steady", "coasting"};
    } else if (draw.percent(40)) {
      when = {"accelerating", "steady"};
    } else if (draw.percent(15)) {
      when = {"accelerating", "steady", "coasting", "regenerating"};
    }
    noise["when"] = when;
  }
  if (draw.percent(60)) {
    noise["pitch_follows_speed"] = outside_only ? draw.percent(40) : draw.percent(90);
  }
  if (draw.percent(70)) {
    noise["level"] = t.corrosion && draw.percent(60) ? "loud" : draw.one_of({"faint", "clear"});
  }
  if (writer != Writer::quick && draw.percent(50)) {
    noise["changes_with_steering_or_surface"] = outside_only && draw.percent(80);
  }
  return noise;
}

Json faults_part(const Truth& t, Writer writer, Draw& draw) {
  const int known = writer == Writer::bare ? 10 : writer == Writer::quick ? 45 : 85;
  if (!draw.percent(known)) {
    return {};
  }
  const char* isolation = "none";
  if (t.insulation_loss) {
    isolation = draw.percent(60) ? "active" : draw.percent(70) ? "stored" : "none";
  }
  Json faults = {{"isolation", isolation}};
  if (draw.percent(50)) {
    const bool active = std::string_view(isolation) == "active";
    faults["shutdown"] = active && draw.percent(60);
    faults["reduced_power"] = active ? draw.percent(70) : draw.percent(2);
  }
  return faults;
}

Json insulation_part(const Truth& t, Draw& draw) {
  // In kilohm, so that the draw stays an integer.
  const int kilohm = t.insulation_loss ? draw.between(12, 3'900) : draw.between(60, 900) * 1000;
  return {{"resistance_mohm", kilohm / 1000.0},
          {"test_voltage_v", 500},
          {"winding_temp_c", draw.between(9, 27)}};
}

Json teardown_part(const Truth& t, std::chrono::sys_days seen, Draw& draw) {
  const auto word = [](bool present) { return present ? "present" : "absent"; };
  return {
      {"date", day_text(seen + std::chrono::days(draw.between(1, 20)))},
      {"seal-leak", word(t.leak != Leak::none)},
      {"rotor-bearing-corrosion", word(t.corrosion)},
      {"rotor-bearing-erosion", word(t.rotor_erosion)},
      {"gear-bearing-erosion",
       draw.percent(70) ? word(t.gear_erosion) : std::string_view("not-examined")},
      {"insulation-loss",
       draw.percent(80) ? word(t.insulation_loss) : std::string_view("not-examined")},
  };
}

std::string note_for(const Truth& t, Writer writer, Draw& draw) {
  if (writer == Writer::owner) {
    return draw.one_of({"Bought it used last year.", "Asked by the workshop to fill this in.",
                        "No complaints, I read that one should have it looked at.",
                        "Mostly short trips, a trailer in summer."});
  }
  if (t.seized) {
    return draw.one_of({"Will not turn with the long bar.", "Towed in.",
                        "Bought as a core, sold to us as running."});
  }
  if (t.wet_now() && draw.percent(60)) {
    return draw.one_of({"Expansion tank was low.", "Photo of the tip in the folder.",
                        "Catch pan set under the port.", "Customer had it topped up twice."});
  }
  if (t.noise() && draw.percent(50)) {
    return draw.one_of({"Driver turned the radio up.", "Came in for the tyres.",
                        "Second opinion wanted.", "Heard it on the way into the yard."});
  }
  return draw.one_of({"Pallet, no car.", "Sensor plug clip broken on arrival.",
                      "From the yard's own stock.", "Label hard to read.", "Part exchange.",
                      "Fleet car, full service book."});
}

Json make_record(int number, std::chrono::sys_days day, Draw& draw) {
  const std::chrono::year_month_day date{day};
  const Truth t = make_truth(
      month(static_cast<int>(date.year()), static_cast<int>(static_cast<unsigned>(date.month()))),
      draw);
  const int who = draw.below(100);
  const Writer writer = who < 46   ? Writer::thorough
                        : who < 82 ? Writer::quick
                        : who < 96 ? Writer::bare
                                   : Writer::owner;

  std::array<char, 16> id{};
  std::snprintf(id.data(), id.size(), "HL-%04d", number);
  Json record = {{"format", "dryshaft-record/1"}, {"unit", unit_part(t, writer, id.data(), draw)}};

  Json& seen = record["inspection"];
  seen["date"] = day_text(day);
  if (draw.percent(writer == Writer::bare ? 50 : 94)) {
    if (draw.percent(5)) {
      seen["odometer_mi"] = t.odometer * 1000LL / 1609;
    } else {
      seen["odometer_km"] = t.odometer;
    }
  }
  seen["by"] = writer == Writer::owner                          ? "owner"
               : writer == Writer::thorough && draw.percent(40) ? "technician"
                                                                : "intake";
  const auto add = [&seen](const char* key, const Json& part) {
    if (!part.is_null()) {
      seen[key] = part;
    }
  };
  add("port", port_part(t, writer, draw));
  add("noise", noise_part(t, writer, !t.seized, draw));
  if (writer != Writer::owner && draw.percent(writer == Writer::bare ? 40 : 75)) {
    seen["rotation"] = t.seized                          ? "seized"
                       : t.corrosion && draw.percent(35) ? "stiff"
                       : draw.percent(96)                ? "free"
                                                         : "unknown";
  }
  add("faults", faults_part(t, writer, draw));
  if (writer == Writer::thorough && draw.percent(t.insulation_loss ? 75 : 18)) {
    record["unit"]["system_voltage_v"] = 400;
    seen["insulation"] = insulation_part(t, draw);
  }
  if (writer == Writer::owner || (writer == Writer::thorough && draw.percent(20))) {
    const bool loses = t.wet_now() && draw.percent(80);
    seen["coolant"] = {{"loss_ml_per_1000km", loses ? draw.between(2, 16) * 5 : 0},
                       {"outside_leak_seen", draw.percent(5)}};
  }
  if (writer != Writer::owner && draw.percent(5)) {
    record["teardown"] = teardown_part(t, day, draw);
  }
  if (draw.percent(28)) {
    record["note"] = note_for(t, writer, draw);
  }
  if (writer != Writer::owner && draw.percent(60)) {
    std::array<char, 16> shelf{};
    const int row = draw.between(1, 6);
    const int place = draw.between(1, 24);
    std::snprintf(shelf.data(), shelf.size(), "R%d-%02d", row, place);
    record["x_shelf"] = shelf.data();
  }
  return record;
}

}  // namespace

int main() {
  using std::chrono::days;
  Draw draw{kSeed};
  std::chrono::sys_days day = std::chrono::year(2025) / 2 / 3;
  for (int i = 0; i < kUnits; ++i) {
    std::cout << make_record(kFirstNumber + i, day, draw).dump() << '\n';
    day += days(draw.below(3));
    while (std::chrono::weekday(day).iso_encoding() > 5) {
      day += days(1);
    }
  }
  std::cout.flush();
  return std::cout.good() ? 0 : 1;
}
