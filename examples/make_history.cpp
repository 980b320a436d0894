// Makes examples/history-ten-years.jsonl: ten years of port checks at "Harrow Lane Drive Works".
//
//     make_history > examples/history-ten-years.jsonl
//
// All data are invented: the workshop, the families, every unit, every number in the model below.
// They show how the program is used and say nothing about any real drive unit.
//
// The truth, which `fit onset` should find again: a seal of family plover-2 leaks after a distance
// with the Weibull distribution of shape 3 and scale 230,000 km (drawn from its twentieths,
// straight between them); one of dunlin-1 lasts 1.3 times as far. From leak to damage it takes two
// draws of mean 10,000 km each. A check misses a leak that has begun in one case of ten. The seal
// that is put in later is as good as the first. The coolant in x_coolant makes no difference.
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

#include "draw.hpp"

namespace {

using Json = nlohmann::ordered_json;
using std::chrono::days;
using std::chrono::sys_days;

constexpr std::uint64_t kSeed = 2016;
constexpr int kUnits = 170;
constexpr int kFirstNumber = 1001;  // HL-1001

// 230,000 * (-log(1 - i/20))^(1/3) km; the last one is at 99.9 %.
constexpr std::array<int, 21> kTwentieths = {0,       85'457,  108'631, 125'515, 139'505, 151'833,
                                             163'112, 173'706, 183'859, 193'756, 203'549, 213'380,
                                             223'394, 233'758, 244'681, 256'456, 269'538, 284'725,
                                             303'715, 331'560, 438'033};

int thousand_of(Draw& draw, const std::array<int, 21>& twentieths) {
  const int step = draw.below(20);
  const auto at = static_cast<std::size_t>(step);
  const int wide = twentieths[at + 1] - twentieths[at];
  return twentieths[at] + wide * draw.below(1000) / 1000;
}

// Mean 10,000 km: -log(1 - i/20) * 10,000, the last one at 99.5 %.
constexpr std::array<int, 21> kDelay = {0,      513,    1'054,  1'625,  2'231,  2'877,  3'567,
                                        4'308,  5'108,  5'978,  6'931,  7'985,  9'163,  10'498,
                                        12'040, 13'863, 16'094, 18'971, 23'026, 29'957, 52'983};

std::string day_text(sys_days day) {
  const std::chrono::year_month_day d{day};
  std::array<char, 32> text{};
  std::snprintf(text.data(), text.size(), "%04d-%02u-%02u", static_cast<int>(d.year()),
                static_cast<unsigned>(d.month()), static_cast<unsigned>(d.day()));
  return text.data();
}

class Unit {
 public:
  Unit(int number, Draw& draw) : draw_(draw) {
    id_ = "HL-" + std::to_string(number);
    plover_ = draw.percent(70);
    corrie_ = draw.percent(40);
    const int year = plover_ ? draw.between(2013, 2020) : draw.between(2018, 2023);
    month_ = draw.between(1, 12);
    built_ = std::chrono::year(year) / month_ / 1;
    year_ = year;
    factory_dry_ = !plover_ && (year > 2021 || (year == 2021 && month_ >= 9));
    km_a_year_ = 12'000 + draw.below(16'000) + draw.below(16'000);
    coolant_ = draw.percent(50) ? "blue" : "green";
    new_seal(0);
  }

  void live() {
    const sys_days first =
        std::max(sys_days(built_) + days(300 + draw_.below(1800)),
                 sys_days(std::chrono::year(2016) / 3 / 1) + days(draw_.below(900)));
    sys_days day = first;
    const sys_days end = std::chrono::year(2026) / 3 / 1;
    while (day < end && !gone_) {
      while (std::chrono::weekday(day).iso_encoding() > 5) {
        day += days(1);
      }
      visit(day);
      day += days(draw_.between(200, 520));
    }
  }

 private:
  // Kilometres on the odometer on a day.
  [[nodiscard]] int km_on(sys_days day) const {
    const auto age = static_cast<std::int64_t>((day - sys_days(built_)).count());
    return static_cast<int>(age * km_a_year_ / 365);
  }

  void new_seal(int km) {
    const int life = thousand_of(draw_, kTwentieths);
    leak_km_ = factory_dry_ ? 1 << 30 : km + (plover_ ? life : life / 10 * 13);
    damage_km_ = leak_km_ + thousand_of(draw_, kDelay) + thousand_of(draw_, kDelay);
  }

  Json head(sys_days day, int km) {
    Json record = {{"format", "dryshaft-record/1"}};
    Json unit = {{"id", id_}, {"family", plover_ ? "plover-2" : "dunlin-1"}};
    if (plover_) {
      unit["vehicle"] = corrie_ ? "Corrie" : "Tarn";
    }
    std::array<char, 16> text{};
    std::snprintf(text.data(), text.size(), "%04d-%02d", year_, month_);
    unit["built"] = text.data();
    if (bypassed_) {
      unit["rotor_cooling"] = "bypassed";
    }
    if (renewed_ > 0) {
      unit["seal_renewed_odometer_km"] = renewed_;
    }
    record["unit"] = std::move(unit);
    record["inspection"] = {{"date", day_text(day)}};
    if (!draw_.percent(2)) {
      record["inspection"]["odometer_km"] = km;
    }
    record["inspection"]["by"] = "technician";
    record["x_coolant"] = coolant_;
    return record;
  }

  void print(const Json& record) { std::cout << record.dump() << '\n'; }

  void visit(sys_days day) {
    const int km = km_on(day);
    Json record = head(day, km);
    Json& seen = record["inspection"];
    const bool leaks = !bypassed_ && km >= leak_km_;
    const bool damaged = !bypassed_ && km >= damage_km_;
    if (draw_.percent(7)) {  // came for something else
      seen["port"] = {{"checked", false}};
      seen["noise"] = {{"present", damaged}};
      print(record);
      return;
    }
    const bool found = leaks && (damaged || !draw_.percent(10));
    Json port = {
        {"checked", true}, {"fluid", "none"}, {"dried_residue", false}, {"corrosion", "none"}};
    if (found) {
      const int since = km - leak_km_;
      port["fluid"] = since < 6'000 ? "film" : since < 25'000 ? "droplets" : "pooled";
      port["corrosion"] = damaged ? "heavy" : since < 8'000 ? "none" : "light";
      port["dried_residue"] = since > 4'000;
      if (draw_.percent(85)) {
        port["fluid_kind"] = "coolant";
      }
      if (since < 3'000 && draw_.percent(15)) {  // dried up again
        port["fluid"] = "none";
        port["dried_residue"] = true;
        port.erase("fluid_kind");
      }
    } else if (draw_.percent(2)) {
      port["fluid"] = "film";
      port["fluid_kind"] = "gear-oil";
    } else if (draw_.percent(2)) {
      port["fluid"] = "film";
      port["fluid_kind"] = "water";
      port["glycol_percent"] = 0;
    }
    seen["port"] = std::move(port);
    seen["noise"] = {{"present", damaged || draw_.percent(12)}};
    seen["rotation"] = damaged && draw_.percent(30) ? "stiff" : "free";
    seen["faults"] = {{"isolation", damaged && draw_.percent(25) ? "stored" : "none"}};
    if (found) {
      repair(record, day, km, damaged);
      return;
    }
    print(record);
    if (!bypassed_ && !factory_dry_ && draw_.percent(1)) {  // bypassed while still dry
      bypassed_ = true;
    } else if (draw_.percent(3)) {
      gone_ = true;  // sold
    }
  }

  // What became of a leak that was found: opened and resealed, opened and scrapped, or left.
  void repair(Json& record, sys_days day, int km, bool damaged) {
    const bool opened = draw_.percent(80);
    if (opened) {
      record["teardown"] = {
          {"date", day_text(day + days(draw_.between(1, 9)))},
          {"seal-leak", "present"},
          {"rotor-bearing-corrosion", damaged || draw_.percent(10) ? "present" : "absent"},
          {"rotor-bearing-erosion", draw_.percent(25) ? "present" : "absent"},
          {"gear-bearing-erosion", draw_.percent(35) ? "present" : "absent"},
          {"insulation-loss", damaged && draw_.percent(35) ? "present" : "absent"}};
    }
    print(record);
    if (!opened || !record["inspection"].contains("odometer_km") ||
        (damaged && draw_.percent(40))) {
      gone_ = true;
      return;
    }
    renewed_ = km;
    new_seal(km);
  }

  Draw& draw_;
  std::string id_;
  std::string coolant_;
  bool plover_ = true;
  bool corrie_ = false;
  bool factory_dry_ = false;
  bool bypassed_ = false;
  bool gone_ = false;
  int year_ = 2016;
  int month_ = 1;
  int km_a_year_ = 20'000;
  int renewed_ = 0;
  int leak_km_ = 0;
  int damage_km_ = 0;
  std::chrono::year_month_day built_;
};

}  // namespace

int main() {
  Draw draw{kSeed};
  for (int i = 0; i < kUnits; ++i) {
    Unit(kFirstNumber + i, draw).live();
  }
  std::cout.flush();
  return std::cout.good() ? 0 : 1;
}
