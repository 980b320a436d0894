// The writers, by whole texts. Unit, cars, families and figures are invented.
#include "dryshaft/report.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>
#include <numeric>
#include <string>
#include <string_view>
#include <vector>

#include "base/sentence.hpp"
#include "report/layout.hpp"
#include "report/words.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using nlohmann::json;
using test::has;

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kInfinity = std::numeric_limits<double>::infinity();

Report blank_report() {
  Report r;
  r.as_of = "2026-03-20";
  r.tool_version = "0.1.0";
  r.rules_id = "core";
  r.rules_version = "1.0.0";
  r.rules_sha256 = "3f9a0c12b4de77aa3f9a0c12b4de77aa3f9a0c12b4de77aa3f9a0c12b4de77aa";
  r.family_sha256 = "5eed0c12b4de77aa5eed0c12b4de77aa5eed0c12b4de77aa5eed0c12b4de77aa";
  r.source = "intake.jsonl";
  r.line = 17;
  r.record_sha256 = "b01dfacedeadc0deb01dfacedeadc0deb01dfacedeadc0deb01dfacedeadc0de";
  r.records = {{r.source, r.line, r.record_sha256, "2026-03-14"}};
  r.records_sha256 = "a11dfacedeadc0dea11dfacedeadc0dea11dfacedeadc0dea11dfacedeadc0de";
  r.unit_id = "HL-0147";
  r.family = "plover-2";
  r.family_title = "Plover 2";
  r.vehicle = "Tarn";
  r.date = "2026-03-14";
  return r;
}

// A technician has just found coolant at the port of a noisy unit.
Report leaking() {
  Report r = blank_report();
  r.odometer_km = 182400;
  r.seal_km = 121150.4;
  r.by = "a technician";
  r.note = "Customer says the hum began last winter. Photo 3 shows the tip.";
  r.grade = Grade::D;
  r.grade_meaning = "damage now, or a hazard: do not drive or energise until opened or made safe";
  r.headline =
      "Coolant has passed the rotor shaft seal (over 99 %) and the rotor bearings are probably "
      "rusting (88 %).";
  r.floors = {{"pooled-coolant", Grade::D, "coolant stands in the port"},
              {"rust-on-tip", Grade::B, "rust on the sensor tip"}};
  r.reasons = {"the probability of damage is high even without the floors"};
  r.risk = 0.99871;
  r.how_sure =
      HowSure{40, 3, 0.98123, 0.99991, 1, {Grade::D}, {{"leak-shows-pooled", "shows", 3.14}}};
  r.causes = {
      {"seal-leak",
       "coolant past the rotor shaft seal",
       0.99871,
       {{"leak-shows-pooled", "port-fluid", "pooled", "liquid standing in the port", 27.34},
        {"leak-is-coolant", "port-fluid-kind", "coolant", "the liquid is coolant", 9.06},
        {"leak-rust", "port-rust", "light", "light rust on the tip", 3.2}},
       {{"leak-debris", "port-debris", "none", "no debris on the tip", -0.6}},
       {"coolant-loss"}},
      {"rotor-bearing-corrosion",
       "rusted rotor bearings",
       0.8812,
       {{"rust-noise", "noise", "present", "a noise is heard", 6.61},
        {"rust-rust", "port-rust", "light", "light rust on the tip", 5.9}},
       {{"rust-rotation", "rotation", "free", "turns freely by hand", -2.4}},
       {"noise-onset"}},
      {"gear-bearing-erosion",
       "gearbox input bearings etched by current",
       0.2204,
       {{"gear-noise", "noise", "present", "a noise is heard", 4.5}},
       {},
       {"noise-load"}},
      {"insulation-loss",
       "insulation lowered by fluid",
       0.0613,
       {},
       {{"insulation-fault", "isolation-fault", "none", "no isolation fault reported", -4.1}},
       {"insulation"}},
      {"outside-noise",
       "a noise from outside the unit",
       0.03,
       {{"outside-noise", "noise", "present", "a noise is heard", 3.1}},
       {{"outside-pitch", "noise-pitch", "yes", "its pitch follows road speed", -1.2}},
       {}},
      {"rotor-bearing-erosion", "rotor bearings etched by current", 0.0021, {}, {}, {}},
  };
  r.observed = {{"port-fluid", "pooled", "liquid at the port: standing in the port", ""},
                {"port-fluid-kind", "coolant", "kind of liquid: coolant", ""},
                {"port-rust", "light", "rust on the tip: light rust", ""},
                {"noise", "present", "noise: present", "2025-10-02"}};
  r.not_observed = {{"insulation", "", "insulation resistance", ""},
                    {"noise-load", "", "noise by load", ""},
                    {"noise-onset", "", "how the noise began", ""},
                    {"coolant-loss", "", "unexplained coolant loss", ""}};
  r.actions = {
      {"stop-driving", "advice-stop-driving",
       "do not drive or energise the car; bring it in on a trailer", Urgency::now, 0.0, 0.0,
       "coolant stands in the motor cavity"},
      {"open-and-rebuild", "advice-open-and-rebuild",
       "open the unit, clean it, reseal the rotor shaft and fit new hybrid rotor bearings",
       Urgency::now, std::nullopt, 14.0, "rust goes on while coolant stays inside, running or not"},
      {"renew-gear-bearings", "advice-renew-gear-bearings",
       "renew the gearbox input bearings (hybrid) while it is open", Urgency::planned, std::nullopt,
       std::nullopt, "the labour is paid for once the unit is open"},
      {"measure-insulation", "advice-measure-insulation",
       "measure the insulation before anything is energised", Urgency::soon, 500.0, 30.0, ""}};
  r.actions[0].title = "take it out of use";
  r.actions[1].title = "open and rebuild it";
  r.actions[1].cautions = {"toxic-coolant", "high-voltage"};
  r.actions[2].title = "renew the gearbox input bearings";
  r.actions[2].cautions = {"high-voltage"};
  r.actions[3].title = "measure the insulation";
  r.cautions = {
      {"high-voltage",
       "Lethal direct voltage: isolate, lock out, prove dead. Licensed people only; local "
       "rules apply."},
      {"toxic-coolant", "Glycol poisons people and animals: collect every drop."},
      {"not-a-certificate",
       "This is a screening aid, no certificate; a qualified technician decides."}};
  r.cautions[0].brief = "Lethal: isolate, lock out, prove dead.";
  r.cautions[1].brief = "Glycol is poison: collect every drop.";
  r.next_checks = {
      {"measure-insulation",
       "measure the insulation resistance of the winding to the casing",
       20,
       0.0312345,
       {Grade::D}},
      {"road-test", "note under which load the noise is heard", 15, 0.001, {Grade::D}}};
  r.would_change = {{{{"port-fluid", "none"}, {"port-rust", "none"}},
                     "a dry and clean tip at a repeated check",
                     Grade::B}};
  r.recheck = {.km = 1000.0,
               .days = 30.0,
               .due_km = 183400.0,
               .due_date = "2026-04-13",
               .because = "after the rebuild, to see that the new seal holds"};
  r.rebuild_outlook = "routine";
  r.rebuild_outlook_text = "caught before the winding was harmed, as far as is known";
  r.history.earlier = {{"2024-11-20", 151020.0, Grade::A, 0.0079},
                       {"2025-10-02", std::nullopt, Grade::U, 0.18}};
  r.history.change = "worse: U to D, with coolant at the port for the first time";
  r.history.events = {
      {"seal-renewed", "rotor shaft seal renewed", 61250.0, "2024-11-20"},
      {"rotor-circuit-bypassed", "rotor circuit bypassed", std::nullopt, "2025-10-02"}};
  r.history.compared = {
      {"2025-10-02",
       "last-inspection",
       Grade::U,
       {{"port-fluid", "", "pooled", "first-seen", "liquid at the port: pooled"}},
       0.71,
       "possible-development",
       r.history.change},
      {"2024-11-20", "last-repair", Grade::A, {}, std::nullopt, "repaired", "seal renewed since"}};
  return r;
}

// The port was never looked at; the noise alone is a B.
Report unchecked() {
  Report r = blank_report();
  r.unit_id = "HL-0152";
  r.family = "dunlin-1";
  r.family_title = "";
  r.vehicle = "Corrie";
  r.line = 18;
  r.grade = Grade::U;
  r.grade_meaning = "ungraded: what would rule out C or D was not observed";
  r.at_least = Grade::B;
  r.headline =
      "A noise that fits etched gearbox bearings (61 %); nobody has looked at the sensor port, so "
      "a leak is not ruled out.";
  r.floors = {{"bearing-noise", Grade::B, "a bearing noise is heard"}};
  r.risk = 0.6642;
  r.causes = {
      {"gear-bearing-erosion",
       "gearbox input bearings etched by current",
       0.614,
       {{"gear-noise", "noise-load", "under-load", "heard under load, gone when coasting", 7.7}},
       {},
       {}},
      {"seal-leak", "coolant past the rotor shaft seal", 0.09, {}, {}, {"port-fluid"}}};
  r.actions = {{"check-port", "", "check the rotor-sensor port", Urgency::soon, 1500.0, 30.0,
                "a leak stays silent until it is late"}};
  r.actions.front().title = "check the port";
  r.next_checks = {
      {"check-port", "check the rotor-sensor port", 15, 0.284, {Grade::B, Grade::C, Grade::D}}};
  r.rebuild_outlook = "unknown";
  r.warnings = {"no odometer reading: distance-based limits are not known"};
  return r;
}

Report healthy() {
  Report r = blank_report();
  r.unit_id = "HL-0160";
  r.line = 19;
  r.odometer_km = 64210;
  r.grade = Grade::A;
  r.grade_meaning = "no sign of damage: normal use, routine recheck";
  r.headline = "No sign of damage; the port was dry and clean.";
  r.risk = 0.0084;
  r.causes = {{"seal-leak", "coolant past the rotor shaft seal", 0.0061, {}, {}, {}}};
  r.actions = {{"recheck", "", "look at the port again", Urgency::routine, 20000.0, 730.0,
                "a seal wears with distance and age"}};
  r.actions.front().title = "look at the port again";
  r.rebuild_outlook = "routine";
  return r;
}

Report owners() {
  Report r = unchecked();
  r.audience = Audience::owner;
  r.headline = "Have the sensor port looked at soon.";
  r.grade_meaning = "not graded yet: one look that only a workshop can take is missing";
  r.owner_summary = {
      "Your car makes a noise that often comes from worn bearings in the drive unit. On its own "
      "that is a nuisance and no danger.",
      "There is one thing that nobody has looked at yet, and it decides whether coolant is getting "
      "into the motor. It takes a workshop about a quarter of an hour."};
  r.driving = "Yes, until the check is due.";
  r.charging = "Yes.";
  r.tell = "a noise under load.";
  r.cautions = {{"high-voltage", "Do not open or touch anything with an orange cable.", true}};
  r.actions = {{"check-port", "", "have a workshop look at the rotor-sensor port", Urgency::soon,
                1500.0, 30.0, "a leak makes no noise until it is late"}};
  r.next_checks.front().text = "look at the rotor-sensor port";
  r.contradictions = {{"onset-after-inspection", "the noise began after the inspection"}};
  r.note = "Bought it in spring.";
  return r;
}

Batch intake() {
  Batch batch;
  batch.reports = {healthy(), unchecked(), leaking()};
  rank(batch.reports);
  batch.rejected = {{Severity::error, "bad-value", "intake.jsonl", 20, 44, "/inspection/port/fluid",
                     "is \"dropplets\"", "\"fluid\":\"dropplets\"", 8,
                     "none, film, droplets, pooled", "did you mean \"droplets\"?"}};
  batch.rejected_records = 1;
  return batch;
}

std::string without_colour(std::string text) {
  for (std::size_t at = text.find('\x1b'); at != std::string::npos; at = text.find('\x1b', at)) {
    text.erase(at, text.find('m', at) - at + 1);
  }
  return text;
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::size_t at = 0;
  while (at < text.size()) {
    const std::size_t end = text.find('\n', at);
    REQUIRE(end != std::string::npos);  // every text ends with a line feed
    lines.push_back(text.substr(at, end - at));
    at = end + 1;
  }
  return lines;
}

std::size_t widest(const std::string& text) {
  std::size_t most = 0;
  for (const std::string& line : lines_of(text)) {
    most = std::max(most, layout::width(line));
  }
  return most;
}

std::string u8(const char8_t* text) { return reinterpret_cast<const char*>(text); }

const std::string kHostile =
    "<b>|*x*_y_`z`[a](b)#\x1b[31m\x07\xC2\x9B"
    "2J\xff ok";

// Every string that can come from a record, made hostile.
Report hostile() {
  Report r = leaking();
  r.unit_id = r.vehicle = r.note = r.source = kHostile;
  r.family_title = r.headline = kHostile;
  r.observed.front().shown = kHostile;
  r.warnings = {kHostile};
  r.contradictions = {{"id-1", kHostile}};
  r.history.change = r.history.compared.front().text = r.history.events.front().text = kHostile;
  return r;
}

TEST_CASE("numbers are rounded to any digits that a format asks for", "[report]") {
  CHECK(words::rounded(0.1234565, 6) == 0.123457);
  CHECK(words::rounded(0.1234565, 5) == 0.12346);
  CHECK(words::rounded(0.1234565, 4) == 0.1235);
  CHECK(words::rounded(-2.5, 0) == -3);
  CHECK_FALSE(std::signbit(words::rounded(-0.0000001, 6)));
}

TEST_CASE("technician: the whole text", "[report][text]") {
  const std::string expected =
      R"text(HL-0147, Tarn (Plover 2), 2026-03-14, 182,400 km
Shaft seal in use for 121,150 km. Inspected by a technician.

Grade D   Damage now, or a hazard: do not drive or energise until opened or made
          safe.
Why       Coolant stands in the port.
First     Now, before any further driving: take it out of use.
Finding   Coolant has passed the rotor shaft seal (over 99 %) and the rotor
          bearings are probably rusting (88 %).
Care      High voltage, toxic coolant

What to do, whichever limit comes first
  Now, before any further driving:
  1. Do not drive or energise the car; bring it in on a trailer.
     Why: coolant stands in the motor cavity.
  Now, within 14 days:
  !  Glycol is poison: collect every drop.
  !  Lethal: isolate, lock out, prove dead.
  2. Open and rebuild it.
  Planned:
  3. Renew the gearbox input bearings.
  Soon, within 500 km or 30 days:
  4. Measure the insulation.

What to do, and why
  - Do not drive or energise the car; bring it in on a trailer.
    Why: coolant stands in the motor cavity.
  - Open the unit, clean it, reseal the rotor shaft and fit new hybrid rotor
    bearings.
    Why: rust goes on while coolant stays inside, running or not.
  - Renew the gearbox input bearings (hybrid) while it is open.
    Why: the labour is paid for once the unit is open.
  - Measure the insulation before anything is energised.

Why D
  - No better than D: coolant stands in the port. (pooled-coolant)
  - No better than B: rust on the sensor tip. (rust-on-tip)
  - the probability of damage is high even without the floors

Causes
  A damaging cause is present now: over 99 %.
  over 99 %  ####################  coolant past the rotor shaft seal
             for     +27.3 dB  liquid standing in the port (near proof)
             for      +9.1 dB  the liquid is coolant (fair)
             against  -0.6 dB  no debris on the tip (hardly any)
       88 %  ##################..  rusted rotor bearings
             for      +6.6 dB  a noise is heard (fair)
             for      +5.9 dB  light rust on the tip (fair)
             against  -2.4 dB  turns freely by hand (slight)
       22 %  ####................  gearbox input bearings etched by current
             for      +4.5 dB  a noise is heard (slight)
        6 %  #...................  insulation lowered by fluid
             against  -4.1 dB  no isolation fault reported (slight)
        3 %  #...................  a noise from outside the unit
             against  -1.2 dB  its pitch follows road speed (slight)
  under 1 %  ....................  rotor bearings etched by current
  Evidence is weighed in decibels, not loudness: +3 doubles the odds of a cause,
  +10 multiplies them by ten, minus divides them.

How far the answer depends on estimates
  Each of 40 values from memory may be off by up to a factor of 3 in its odds.
  Nine times in ten damage is then 98 % to over 99 % probable; grade D is given
  over 99 % of the time.
  What carries most of that: leak-shows-pooled (shows).

Observed
  - liquid at the port: standing in the port
  - kind of liquid: coolant
  - rust on the tip: light rust
  - noise: present (carried over from 2025-10-02)

Not observed (counts neither way)
  Insulation resistance; noise by load; how the noise began; unexplained coolant
  loss.

Next checks, best first
  min   bits  could give  check
   20   0.03  D           measure the insulation resistance of the winding to
                          the casing
   15  <0.01  D           note under which load the noise is heard
  Bits: how much a check is expected to show. 1 bit settles a fifty-fifty
  question.

Had it been otherwise today
  - B with a dry and clean tip at a repeated check

Recheck
  Within 1,000 km or 30 days: after the rebuild, to see that the new seal holds.
  Due at 183,400 km, by 2026-04-13 at the latest.

Rebuild outlook
  Routine: caught before the winding was harmed, as far as is known.

History
  date          distance  grade       risk
  2024-11-20  151,020 km  A      under 1 %
  2025-10-02           -  U           18 %
  2026-03-14  182,400 km  D      over 99 %
  - Rotor shaft seal renewed at 61,250 km (on record from 2024-11-20)
  - Rotor circuit bypassed (on record from 2025-10-02)
  Since the last inspection: worse: U to D, with coolant at the port for the
  first time.
  Since the first inspection after the last repair: seal renewed since.

Note on the record
  Customer says the hum began last winter. Photo 3 shows the tip.

Cautions in full
  - Lethal direct voltage: isolate, lock out, prove dead. Licensed people only;
    local rules apply.
  - Glycol poisons people and animals: collect every drop.
  - This is a screening aid, no certificate; a qualified technician decides.

Basis of this report
  As of 2026-03-20. Record intake.jsonl:17, b01dfacedead. dryshaft 0.1.0.
  Rules core 1.0.0, 3f9a0c12b4de. Family plover-2, 5eed0c12b4de. Screening aid:
  a technician decides.
)text";
  CHECK(to_text(leaking(), {.full = true}) == expected);
}

TEST_CASE("technician: an ungraded unit, in miles", "[report][text]") {
  const std::string expected =
      R"text(HL-0152, Corrie (dunlin-1), 2026-03-14, distance not known

Grade U   Ungraded: what would rule out C or D was not observed. No better than
          B: what was seen rules out a better grade.
Why       A bearing noise is heard.
First     Soon, within 930 mi or 30 days: check the port.
Finding   A noise that fits etched gearbox bearings (61 %); nobody has looked at
          the sensor port, so a leak is not ruled out.

Warnings
  - no odometer reading: distance-based limits are not known

What to do, whichever limit comes first
  Soon, within 930 mi or 30 days:
  1. Check the rotor-sensor port.
     Why: a leak stays silent until it is late.

Why U
  - No better than B: a bearing noise is heard. (bearing-noise)

Causes
  A damaging cause is present now: 66 %.
       61 %  ############........  gearbox input bearings etched by current
             for      +7.7 dB  heard under load, gone when coasting (fair)
        9 %  ##..................  coolant past the rotor shaft seal
  Evidence is weighed in decibels, not loudness: +3 doubles the odds of a cause,
  +10 multiplies them by ten, minus divides them.

Next checks, best first
  min  bits  could give  check
   15  0.28  B, C or D   check the rotor-sensor port
  Bits: how much a check is expected to show. 1 bit settles a fifty-fifty
  question.

Rebuild outlook
  Unknown.

Basis of this report
  As of 2026-03-20. Record intake.jsonl:18, b01dfacedead. dryshaft 0.1.0.
  Rules core 1.0.0, 3f9a0c12b4de. Family dunlin-1, 5eed0c12b4de. Screening aid:
  a technician decides.
)text";
  CHECK(to_text(unchecked(), {.units = Units::mi, .full = true}) == expected);
}

TEST_CASE("owner: the whole text", "[report][text]") {
  const std::string expected =
      R"text(HL-0152, Corrie (dunlin-1), 2026-03-14, distance not known

Grade U   Not graded yet: one look that only a workshop can take is missing. No
          better than B.
Why       A bearing noise is heard.
First     Soon, within 1,500 km or 30 days: have a workshop look at the
          rotor-sensor port.
Driving   Yes, until the check is due.
Charging  Yes.
Workshop  Tell them: a noise under load.
Risk      Of 100 such cars, about 66 have damage to the drive unit now.
Note      The noise began after the inspection.

Your car makes a noise that often comes from worn bearings in the drive unit. On
its own that is a nuisance and no danger. There is one thing that nobody has
looked at yet, and it decides whether coolant is getting into the motor. It
takes a workshop about a quarter of an hour.

Take care
  - Do not open or touch anything with an orange cable.

What to do, and why
  - Have a workshop look at the rotor-sensor port.
    Why: a leak makes no noise until it is late.

Why U
  - No better than B: a bearing noise is heard. (bearing-noise)

Note on the record
  Bought it in spring.

For the workshop
  The technician's report lists 1 further remark on this record.
  As of 2026-03-20. Record b01dfacedead. dryshaft 0.1.0. Rules core 1.0.0,
  3f9a0c12b4de. Family dunlin-1, 5eed0c12b4de.
)text";
  const std::string text = to_text(owners(), {.full = true});
  CHECK(text == expected);
  CHECK_FALSE(has(text, " dB"));
  CHECK_FALSE(has(text, "bit"));
}

TEST_CASE("batch: the whole text", "[report][text]") {
  const std::string expected =
      R"text(3 units assessed

1 record was rejected and not graded; see the end.

Grades
  D      1  #############...........................
  C      0  ........................................
  U      1  #############...........................
  B      0  ........................................
  A      1  #############...........................

First thing to do
  - stop-driving: 1 unit (now)
  - check-port: 1 unit (soon)
  - recheck: 1 unit (routine)
  Missing where the grade is open (U): check-port, on 1 of 3 units.

Worst first
# unit    grade  risk when    do first        km/days cause        rebuild
1 HL-0147 D     >99 % now     stop-driving        0/0 seal-leak    routine
2 HL-0152 U >=B  66 % soon    check-port     1,500/30 gear-erosion unknown
3 HL-0160 A      <1 % routine recheck      20,000/730 -            routine
  km/days: limits for what to do first; the one that comes first counts.
  U >=B: ungraded, but no better than B.

Checks that are missing
  id                  units  best for  check
  check-port              1         1  check the rotor-sensor port
  measure-insulation      1         1  measure the insulation resistance of the
                                       winding to the casing
  road-test               1         0  note under which load the noise is heard

Basis of these reports
  Rules core 1.0.0, 3f9a0c12b4de. Screening aid: a technician decides.
  As of 2026-03-20. 3 records, 8d755877cdae. Families: dunlin-1 5eed0c12b4de,
  plover-2 5eed0c12b4de.

Rejected: 1 record
intake.jsonl:20:44: error[bad-value]: /inspection/port/fluid is "dropplets"
  "fluid":"dropplets"
          ^
  allowed: none, film, droplets, pooled
  hint: did you mean "droplets"?
)text";
  CHECK(to_text(intake(), {}) == expected);
}

TEST_CASE("batch: where columns have no room, rows become sentences", "[report][text]") {
  const std::string expected =
      R"text(3 units assessed

1 record was rejected and not graded; see the end.

Grades
  D      1  #######.............
  C      0  ....................
  U      1  #######.............
  B      0  ....................
  A      1  #######.............

First thing to do
  - stop-driving: 1 unit (now)
  - check-port: 1 unit (soon)
  - recheck: 1 unit (routine)
  Missing where the grade is open (U): check-port,
  on 1 of 3 units.

Worst first
  1  HL-0147, grade D, risk >99 %, now,
     stop-driving, mi/days 0/0, cause seal-leak,
     rebuild routine
  2  HL-0152, grade U >=B, risk 66 %, soon,
     check-port, mi/days 930/30, cause
     gear-erosion, rebuild unknown
  3  HL-0160, grade A, risk <1 %, routine,
     recheck, mi/days 12,000/730, rebuild routine
  mi/days: limits for what to do first; the one
  that comes first counts.
  U >=B: ungraded, but no better than B.

Checks that are missing
  check-port  units 1, best for 1, check the
              rotor-sensor port
  measure-insulation  units 1, best for 1, measure
                      the insulation resistance of
                      the winding to the casing
  road-test  units 1, best for 0, note under which
             load the noise is heard

Basis of these reports
  Rules core 1.0.0, 3f9a0c12b4de. Screening aid: a
  technician decides.
  As of 2026-03-20. 3 records, 8d755877cdae.
  Families: dunlin-1 5eed0c12b4de, plover-2
  5eed0c12b4de.

Rejected: 1 record
intake.jsonl:20:44: error[bad-value]:
  /inspection/port/fluid is "dropplets"
  "fluid":"dropplets"
          ^
  allowed: none, film, droplets, pooled
  hint: did you mean "droplets"?
)text";
  CHECK(to_text(intake(), {.width = 50, .units = Units::mi}) == expected);
}

TEST_CASE("technician: the whole Markdown", "[report][markdown]") {
  const std::string expected =
      R"text(# HL-0147, Tarn (Plover 2), 2026-03-14, 182,400 km

Shaft seal in use for 121,150 km. Inspected by a technician.

**Grade D:** Damage now, or a hazard: do not drive or energise until opened or made safe.

**Why:** Coolant stands in the port.

**First:** Now, before any further driving: take it out of use.

**Finding:** Coolant has passed the rotor shaft seal (over 99 %) and the rotor bearings are probably rusting (88 %).

**Care:** High voltage, toxic coolant

## What to do, whichever limit comes first

Now, before any further driving:

1. Do not drive or energise the car; bring it in on a trailer.
   - Why: coolant stands in the motor cavity.

Now, within 14 days:

- **!** Glycol is poison: collect every drop.
- **!** Lethal: isolate, lock out, prove dead.

2. Open and rebuild it.

Planned:

3. Renew the gearbox input bearings.

Soon, within 500 km or 30 days:

4. Measure the insulation.

## What to do, and why

- Do not drive or energise the car; bring it in on a trailer.
  - Why: coolant stands in the motor cavity.
- Open the unit, clean it, reseal the rotor shaft and fit new hybrid rotor bearings.
  - Why: rust goes on while coolant stays inside, running or not.
- Renew the gearbox input bearings (hybrid) while it is open.
  - Why: the labour is paid for once the unit is open.
- Measure the insulation before anything is energised.

## Why D

- No better than D: coolant stands in the port. (pooled-coolant)
- No better than B: rust on the sensor tip. (rust-on-tip)
- the probability of damage is high even without the floors

## Causes

A damaging cause is present now: over 99 %.

| probability | cause | evidence for | evidence against |
| ---: | --- | --- | --- |
| over 99 % | coolant past the rotor shaft seal | liquid standing in the port (+27.3 dB, near proof); the liquid is coolant (+9.1 dB, fair) | no debris on the tip (-0.6 dB, hardly any) |
| 88 % | rusted rotor bearings | a noise is heard (+6.6 dB, fair); light rust on the tip (+5.9 dB, fair) | turns freely by hand (-2.4 dB, slight) |
| 22 % | gearbox input bearings etched by current | a noise is heard (+4.5 dB, slight) |  |
| 6 % | insulation lowered by fluid |  | no isolation fault reported (-4.1 dB, slight) |
| 3 % | a noise from outside the unit |  | its pitch follows road speed (-1.2 dB, slight) |
| under 1 % | rotor bearings etched by current |  |  |

Evidence is weighed in decibels, not loudness: +3 doubles the odds of a cause, +10 multiplies them by ten, minus divides them.

## How far the answer depends on estimates

Each of 40 values from memory may be off by up to a factor of 3 in its odds. Nine times in ten damage is then 98 % to over 99 % probable; grade D is given over 99 % of the time.

What carries most of that: leak-shows-pooled (shows).

## Observed

- liquid at the port: standing in the port
- kind of liquid: coolant
- rust on the tip: light rust
- noise: present (carried over from 2025-10-02)

## Not observed (counts neither way)

Insulation resistance; noise by load; how the noise began; unexplained coolant loss.

## Next checks, best first

| min | bits | could give | check |
| ---: | ---: | --- | --- |
| 20 | 0.03 | D | measure the insulation resistance of the winding to the casing |
| 15 | &lt;0.01 | D | note under which load the noise is heard |

Bits: how much a check is expected to show. 1 bit settles a fifty-fifty question.

## Had it been otherwise today

- B with a dry and clean tip at a repeated check

## Recheck

Within 1,000 km or 30 days: after the rebuild, to see that the new seal holds.

Due at 183,400 km, by 2026-04-13 at the latest.

## Rebuild outlook

Routine: caught before the winding was harmed, as far as is known.

## History

| date | distance | grade | risk |
| --- | ---: | --- | ---: |
| 2024-11-20 | 151,020 km | A | under 1 % |
| 2025-10-02 | \- | U | 18 % |
| 2026-03-14 | 182,400 km | D | over 99 % |

- Rotor shaft seal renewed at 61,250 km (on record from 2024-11-20)
- Rotor circuit bypassed (on record from 2025-10-02)

Since the last inspection: worse: U to D, with coolant at the port for the first time.

Since the first inspection after the last repair: seal renewed since.

## Note on the record

Customer says the hum began last winter. Photo 3 shows the tip.

## Cautions in full

- Lethal direct voltage: isolate, lock out, prove dead. Licensed people only; local rules apply.
- Glycol poisons people and animals: collect every drop.
- This is a screening aid, no certificate; a qualified technician decides.

## Basis of this report

As of 2026-03-20. Record intake.jsonl:17, b01dfacedead. dryshaft 0.1.0.

Rules core 1.0.0, 3f9a0c12b4de. Family plover-2, 5eed0c12b4de. Screening aid: a technician decides.
)text";
  CHECK(to_markdown(leaking(), Units::km, true) == expected);
}

TEST_CASE("batch: the whole Markdown", "[report][markdown]") {
  const std::string expected =
      R"text(# 3 units assessed

1 record was rejected and not graded; see the end.

## Grades

- D: 1
- C: 0
- U: 1
- B: 0
- A: 1

## First thing to do

- stop-driving: 1 unit (now)
- check-port: 1 unit (soon)
- recheck: 1 unit (routine)

Missing where the grade is open (U): check-port, on 1 of 3 units.

## Worst first

| \# | unit | grade | risk | when | do first | km/days | cause | rebuild |
| ---: | --- | --- | ---: | --- | --- | ---: | --- | --- |
| 1 | HL-0147 | D | &gt;99 % | now | stop-driving | 0/0 | seal-leak | routine |
| 2 | HL-0152 | U &gt;=B | 66 % | soon | check-port | 1,500/30 | gear-erosion | unknown |
| 3 | HL-0160 | A | &lt;1 % | routine | recheck | 20,000/730 | \- | routine |

km/days: limits for what to do first; the one that comes first counts.

U &gt;=B: ungraded, but no better than B.

## Checks that are missing

| id | units | best for | check |
| --- | ---: | ---: | --- |
| check-port | 1 | 1 | check the rotor-sensor port |
| measure-insulation | 1 | 1 | measure the insulation resistance of the winding to the casing |
| road-test | 1 | 0 | note under which load the noise is heard |

## Basis of these reports

Rules core 1.0.0, 3f9a0c12b4de. Screening aid: a technician decides.

As of 2026-03-20. 3 records, 8d755877cdae. Families: dunlin-1 5eed0c12b4de, plover-2 5eed0c12b4de.

## Rejected: 1 record

<pre>
intake.jsonl:20:44: error[bad-value]: /inspection/port/fluid is "dropplets"
  "fluid":"dropplets"
          ^
  allowed: none, film, droplets, pooled
  hint: did you mean "droplets"?
</pre>
)text";
  CHECK(to_markdown(intake(), Units::km) == expected);
}

TEST_CASE("colour marks the grade and the heads and changes nothing else", "[report][text]") {
  const std::string text = to_text(healthy(), {.colour = true});
  const std::string expected =
      R"text(ESC[1mHL-0160, Tarn (Plover 2), 2026-03-14, 64,210 kmESC[0m

ESC[1;32mGrade AESC[0m   No sign of damage: normal use, routine recheck.
ESC[1mFindingESC[0m   No sign of damage; the port was dry and clean.
ESC[1mFirstESC[0m     Routine, within 20,000 km or 2 years: look at the port again.

ESC[1mWhat to do, whichever limit comes firstESC[0m
  Routine, within 20,000 km or 2 years:
  1. Look at the port again.
     Why: a seal wears with distance and age.

As of 2026-03-20: record b01dfacedead, rules 3f9a0c12b4de, family 5eed0c12b4de.
More with --full. A screening aid: a technician decides.
)text";
  std::string shown = text;
  for (std::size_t at = shown.find('\x1b'); at != std::string::npos; at = shown.find('\x1b')) {
    shown.replace(at, 1, "ESC");
  }
  CHECK(shown == expected);
  for (const Report& report : {leaking(), unchecked(), healthy(), owners()}) {
    CHECK(without_colour(to_text(report, {.colour = true})) == to_text(report, {}));
  }
  CHECK(without_colour(to_text(intake(), {.colour = true})) == to_text(intake(), {}));
  CHECK(has(to_text(intake(), {.colour = true}), "\x1b[1;35mU >=B\x1b[0m"));
}

TEST_CASE("no line is wider than asked", "[report][text]") {
  Batch batch = intake();
  for (const std::size_t width : {40U, 50U, 64U, 69U, 70U, 80U, 120U}) {
    for (const Units units : {Units::km, Units::mi}) {
      CAPTURE(width);
      for (const Report& report : {leaking(), unchecked(), healthy(), owners(), hostile()}) {
        CHECK(widest(to_text(report, {.width = width, .units = units})) <= width);
      }
      CHECK(widest(to_text(batch, {.width = width, .units = units})) <= width);
    }
  }
}

TEST_CASE("complaints at the end of a table are folded, their excerpts and carets not",
          "[report][text]") {
  Batch batch;
  const std::string excerpt(70, '^');
  batch.rejected = {{Severity::error, "nothing-to-describe", "intake.jsonl", 4, 167,
                     "/inspection/recording/pattern",
                     "is \"washboard\", but /inspection/recording/rotor_bearing is not known and "
                     "/inspection/recording/gear_bearing is not known",
                     "\"pattern\":\"washboard\"}}}", 10, "",
                     "leave it out, or say what /inspection/recording/rotor_bearing or "
                     "/inspection/recording/gear_bearing showed"},
                    {Severity::error, "syntax", "a.json", 1, 70, "",
                     "expected a value, found \"^\"", excerpt, 69, "", ""}};
  batch.rejected_records = 2;
  const std::string text = to_text(batch, {});
  CHECK(text.substr(text.find("Rejected:")) ==
        R"(Rejected: 2 records
intake.jsonl:4:167: error[nothing-to-describe]: /inspection/recording/pattern
  is "washboard", but /inspection/recording/rotor_bearing is not known and
  /inspection/recording/gear_bearing is not known
  "pattern":"washboard"}}}
            ^
  hint: leave it out, or say what /inspection/recording/rotor_bearing or
    /inspection/recording/gear_bearing showed
a.json:1:70: error[syntax]: expected a value, found "^"
  ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
                                                                       ^
)");
}

TEST_CASE("the first twelve lines hold unit, grade, finding and the first thing to do",
          "[report][text]") {
  for (const Report& report : {leaking(), unchecked(), healthy()}) {
    const std::vector<std::string> lines = lines_of(to_text(report, {}));
    std::string fold;
    for (std::size_t i = 0; i < 12 && i < lines.size(); ++i) {
      fold += lines[i] + "\n";
    }
    CHECK(fold.starts_with(report.unit_id));
    CHECK(has(fold, "\nGrade "));
    CHECK(has(fold, "\nFinding "));
    CHECK(fold.find("\nGrade ") < fold.find("\nFinding "));
  }
}

TEST_CASE("cautions stand before the advice", "[report]") {
  for (const std::string& text :
       {to_text(leaking(), {}), to_text(owners(), {}), to_markdown(leaking(), Units::km),
        to_markdown(owners(), Units::km)}) {
    const std::size_t caution = std::min(text.find("Lethal: isolate"), text.find("Take care"));
    CHECK(caution < std::min(text.find("2. Open"), text.find("More with --full")));
  }
  // No advice stands before the cautions that it needs, not even as a summary.
  for (const std::string& text : {to_text(leaking(), {.width = 400}), to_html(leaking(), Units::km),
                                  to_markdown(leaking(), Units::km)}) {
    CHECK(text.find("isolate, lock out, prove dead") < text.find("2. Open and rebuild it"));
    CHECK(text.find("Glycol is poison") < text.find("2. Open and rebuild it"));
  }
}

TEST_CASE("contradictions and warnings follow the verdict", "[report][text]") {
  Report r = unchecked();
  r.contradictions = {{"dry-and-pooled", "the tip is on record as dry and as wet"}};
  CHECK(
      has(to_text(r, {}),
          "Contradictions in the record\n  - The tip is on record as dry and as wet.\n\nWarnings\n"
          "  - no odometer reading: distance-based limits are not known\n\nWhat to do, "));
}

TEST_CASE("an improbable cause shows only what rules it out best", "[report][text]") {
  Report r = healthy();
  r.causes = {{"seal-leak",
               "a leak",
               0.049,
               {{"l1", "noise", "present", "a hum", 2.0}},
               {{"l2", "port-fluid", "none", "a dry tip", -13.2},
                {"l3", "port-rust", "none", "no rust", -3.0}},
               {}}};
  CHECK(has(to_text(r, {.full = true}),
            "a leak\n             against -13.2 dB  a dry tip (strong)\n  Evidence is weighed"));
  r.causes[0].probability = 0.05;
  CHECK(has(to_text(r, {.full = true}),
            "a leak\n             for      +2.0 dB  a hum (slight)\n"
            "             against -13.2 dB  a dry tip (strong)\n"
            "             against  -3.0 dB  no rust (slight)\n  Evidence is weighed"));
}

TEST_CASE("a recheck without a limit says why, and a finished sentence stays one",
          "[report][text]") {
  Report r = healthy();
  r.recheck.because = "No recheck: do the work first.";
  r.floors = {{"floor-rust", Grade::B, "Rust on the tip needs moisture."}};
  CHECK(has(to_text(r, {.full = true}), "\nRecheck\n  No recheck: do the work first.\n\n"));
  CHECK(has(to_text(r, {.full = true}),
            "  - No better than B: Rust on the tip needs moisture. (floor-rust)\n"));
}

TEST_CASE("grades that other judgement would give are named", "[report][text]") {
  Report r = healthy();
  r.how_sure = HowSure{40,
                       2.5,
                       0.004,
                       0.21,
                       0.93,
                       {Grade::A, Grade::B},
                       {{"seal-leak", "wear", 4}, {"kind", "shows", -2}}};
  CHECK(has(to_text(r, {.full = true}),
            "Each of 40 values from memory may be off by up to a factor of 2.5 in its odds.\n"
            "  Nine times in ten damage is then under 1 % to 21 % probable; grade A is given\n"
            "  93 % of the time.\n"
            "  Grades given one time in twenty or more: A or B.\n"
            "  What carries most of that: seal-leak (wear), kind (shows).\n"));
  r.how_sure->risk_high = 0.001;
  CHECK(has(to_text(r, {.full = true}), "damage is then under 1 % probable; grade A"));
  r.how_sure.reset();
  CHECK_FALSE(has(to_text(r, {.full = true}), "judgement"));
  CHECK(has(to_json(r), "\"how_sure\":null,"));
}

TEST_CASE("the ranked table names a cause only where it is likely", "[report][text]") {
  Batch batch;
  batch.reports = {healthy()};
  batch.reports[0].causes[0].probability = 0.19;
  CHECK_FALSE(has(to_text(batch, {}), "seal-leak"));
  batch.reports[0].causes[0].probability = 0.2;
  CHECK(has(to_text(batch, {}), "seal-leak"));
}

TEST_CASE("a probability is never stated as certain", "[report][words]") {
  using words::percent;
  CHECK(percent(0) == "under 1 %");
  CHECK(percent(0.0099) == "under 1 %");
  CHECK(percent(0.01) == "1 %");
  CHECK(percent(0.286) == "29 %");
  CHECK(percent(0.99) == "99 %");
  CHECK(percent(0.9901) == "over 99 %");
  CHECK(percent(1) == "over 99 %");
  CHECK(percent(kNan) == "not known");
  CHECK(words::short_percent(0) == "<1 %");
  CHECK(words::short_percent(1) == ">99 %");
  CHECK(words::short_percent(kNan) == "?");
}

TEST_CASE("distances and limits", "[report][words]") {
  CHECK(words::distance(182400, Units::km) == "182,400 km");
  CHECK(words::distance(182400, Units::mi) == "113,338 mi");
  CHECK(words::distance(999.6, Units::km) == "1,000 km");
  CHECK(grouped(0) == "0");
  CHECK(grouped(-0.2) == "0");
  CHECK(grouped(1234567) == "1,234,567");
  CHECK(grouped(-1234) == "-1,234");
  CHECK(grouped(kInfinity) == "?");
  // A limit is never loosened.
  CHECK(words::limit(12399, Units::km) == "12,300");
  CHECK(words::limit(499.99999999999, Units::km) == "500");
  CHECK(words::limit(500, Units::km) == "500");
  CHECK(words::limit(1609.344, Units::mi) == "1,000");
  CHECK(words::limit(500, Units::mi) == "310");
  CHECK(words::limit(0.4, Units::km) == "0");
  using words::deadline;
  CHECK(deadline(500.0, 14.0, Units::km) == "within 500 km or 14 days");
  CHECK(deadline(500.0, {}, Units::mi) == "within 310 mi");
  CHECK(deadline({}, 1.0, Units::km) == "within 1 day");
  CHECK(deadline({}, 365.0, Units::km) == "within 1 year");
  CHECK(deadline({}, 730.0, Units::km) == "within 2 years");
  CHECK(deadline({}, 400.0, Units::km) == "within 400 days");
  CHECK(deadline(0.0, 0.0, Units::km) == "before any further driving");
  CHECK(deadline(0.0, 7.0, Units::km) == "before any further driving and within 7 days");
  CHECK(deadline(100.0, 0.0, Units::km) == "today");
  CHECK(deadline({}, {}, Units::km).empty());
  CHECK(deadline(kNan, kInfinity, Units::km).empty());
  CHECK(words::short_deadline(500.0, 14.0, Units::km) == "500/14");
  CHECK(words::short_deadline({}, 14.0, Units::km) == "-/14");
  CHECK(words::short_deadline(500.0, {}, Units::km) == "500/-");
  CHECK(words::short_deadline({}, {}, Units::km) == "-");
}

TEST_CASE("weights of evidence have words", "[report][words]") {
  CHECK(words::weight(0.9) == "hardly any");
  CHECK(words::weight(-4.9) == "slight");
  CHECK(words::weight(5) == "fair");
  CHECK(words::weight(-10) == "strong");
  CHECK(words::weight(15) == "very strong");
  CHECK(words::weight(20) == "near proof");
}

TEST_CASE("columns of characters", "[report][layout]") {
  CHECK(layout::width("abc") == 3);
  CHECK(layout::width(u8(u8"\u00e9")) == 1);
  CHECK(layout::width(u8(u8"e\u0301")) == 1);
  CHECK(layout::width(u8(u8"\u6f22\u5b57")) == 4);
  CHECK(layout::head(u8(u8"a\u6f22b"), 2) == "a");
  CHECK(layout::head(u8(u8"a\u6f22b"), 3) == u8(u8"a\u6f22"));
  CHECK(layout::tail(u8(u8"a\u6f22b"), 2) == "b");
}

TEST_CASE("wide characters line up in the table", "[report][text]") {
  Batch batch;
  batch.reports = {leaking(), healthy(), healthy()};
  batch.reports[1].unit_id = u8(u8"\u6f22\u5b57-1");
  batch.reports[2].unit_id = u8(u8"\u00e9t\u00e9-1");
  const std::string text = to_text(batch, {});
  CHECK(has(text, "\n1 HL-0147 D "));
  CHECK(has(text, u8(u8"\n2 \u6f22\u5b57-1  A ")));
  CHECK(has(text, u8(u8"\n3 \u00e9t\u00e9-1   A ")));
}

TEST_CASE("wrapping", "[report][layout]") {
  using Lines = std::vector<std::string>;
  CHECK(layout::wrap("one two three", 7) == Lines{"one two", "three"});
  CHECK(layout::wrap("", 7).empty());
  CHECK(layout::wrap("  spaced   out ", 20) == Lines{"spaced out"});
  CHECK(layout::wrap("abcdefghij k", 4) == Lines{"abcd", "efgh", "ij k"});
  CHECK(layout::wrap("within 500 km now", 10) == Lines{"within", "500 km now"});
  CHECK(layout::wrap("within 500 kmx", 10) == Lines{"within 500", "kmx"});
  CHECK(layout::wrap(u8(u8"\u6f22\u5b57\u6f22\u5b57"), 5) ==
        Lines{u8(u8"\u6f22\u5b57"), u8(u8"\u6f22\u5b57")});
}

TEST_CASE("a note costs in proportion to its length, be it one word or many", "[report][layout]") {
  const auto cost = [](std::string_view part, std::size_t times, const auto& write) {
    Report r = leaking();
    r.note.clear();
    for (std::size_t i = 0; i < times; ++i) {
      r.note += part;
    }
    const std::size_t before = layout::measured();
    const std::string text = write(r);
    CHECK(text.size() > r.note.size());
    return layout::measured() - before;
  };
  const auto text = [](const Report& r) { return to_text(r, {.full = true}); };
  const auto markdown = [](const Report& r) { return to_markdown(r, Units::km, true); };
  const auto html = [](const Report& r) { return to_html(r, Units::km); };
  for (const std::string_view part :
       {"nnnnnnnnnn", "nnnnn nnnn", "\u00e9\u00e9\u4e00\u4e00", "e\u0301", "\u0301"}) {
    CAPTURE(part);
    const std::size_t none = cost(part, 0, text);
    const std::size_t some = cost(part, 2000, text) - none;
    const std::size_t more = cost(part, 8000, text) - none;
    CHECK(some > 0);
    CHECK(more <= 4 * some + 400);
    CHECK(more <= 4 * 10 * 8000);
    CHECK(cost(part, 8000, markdown) <= 4 * 10 * 8000 + none);
    CHECK(cost(part, 8000, html) <= 4 * 10 * 8000 + none);
  }
}

TEST_CASE("cut words stay different", "[report][layout]") {
  using Wanted = std::vector<std::string>;
  CHECK(layout::cut({"short", "short"}, 8) == Wanted{"short", "short"});
  CHECK(layout::cut({"open-and-rebuild", "stop"}, 8) == Wanted{"open-an~", "stop"});
  CHECK(layout::cut({"lot-2026-001", "lot-2026-002", "lot-2026-001"}, 8) ==
        Wanted{"lot-20~1", "lot-20~2", "lot-20~1"});
  // An uncut word keeps its form against one that would be cut to the same.
  CHECK(layout::cut({"abcdefghij", "abcdefg~"}, 8) == Wanted{"abcdef~j", "abcdefg~"});
  // Different only in the middle, where any cut takes the difference away.
  CHECK(layout::cut({"aaaaaa1bbbbbbb", "aaaaaa2bbbbbbb"}, 5) == Wanted{"aaaa~", "aaa~2"});
  // Different only by what a terminal must not see.
  CHECK(layout::cut({"a\x1b", "a\x07"}, 5) == Wanted{u8(u8"a\ufffd"), u8(u8"a\ufffd~2")});
}

TEST_CASE("long unit ids stay different in the ranked table", "[report][text]") {
  Batch batch;
  for (int i = 0; i < 12; ++i) {
    Report r = leaking();
    r.unit_id = "HARROW-LANE-DRIVE-WORKS-INTAKE-SHELF-" + std::to_string(100 + i) + "-REAR";
    batch.reports.push_back(r);
  }
  const std::string text = to_text(batch, {});
  CHECK(widest(text) == 80);
  CHECK(has(text, "\n  ~: a word cut to fit.\n"));
  std::vector<std::string> ids;
  for (const std::string& line : lines_of(text)) {
    if (has(line, "~") && has(line, "seal-leak")) {
      ids.push_back(line.substr(3, line.find(' ', 3) - 3));
    }
  }
  REQUIRE(ids.size() == 12);
  std::ranges::sort(ids);
  CHECK(std::ranges::adjacent_find(ids) == ids.end());
  CHECK(has(to_markdown(batch, Units::km), "| HARROW-LANE-DRIVE-WORKS-INTAKE-SHELF-100-REAR |"));
}

TEST_CASE("nothing from a record can steer a terminal", "[report][text]") {
  Batch batch = intake();
  batch.reports.push_back(hostile());
  batch.rejected.front().message = kHostile;
  for (const std::string& text :
       {to_text(hostile(), {}), to_text(hostile(), {.width = 50}), to_text(batch, {}),
        to_text(batch, {.width = 50}), to_markdown(hostile(), Units::km),
        to_markdown(batch, Units::km), to_json(hostile())}) {
    for (const std::string& line : lines_of(text)) {
      CHECK(layout::clean(line) == line);  // no control character, valid UTF-8
    }
  }
  CHECK(layout::clean("a\tb\r\nc") == "a b  c");
  CHECK(
      has(to_text(hostile(), {.full = true}),
          u8(u8"\nNote on the record\n  <b>|*x*_y_`z`[a](b)#\ufffd[31m\ufffd\ufffd2J\ufffd ok\n")));
}

TEST_CASE("Markdown from a record is shown, not read", "[report][markdown]") {
  const std::string text = to_markdown(hostile(), Units::km, true);
  CHECK(has(text, u8(u8"\n&lt;b&gt;\\|\\*x\\*\\_y\\_\\`z\\`\\[a\\](b)\\#\ufffd\\[31m")));
  CHECK_FALSE(has(text, "<b>"));
  const auto note = [](std::string shown) {
    Report r = healthy();
    r.note = std::move(shown);
    const std::string md = to_markdown(r, Units::km, true);
    const std::size_t from = md.find("## Note on the record\n\n") + 23;
    return md.substr(from, md.find('\n', from) - from);
  };
  CHECK(note("- item") == "\\- item");
  CHECK(note("+ item") == "\\+ item");
  CHECK(note("=====") == "\\=====");
  CHECK(note("# head") == "\\# head");
  CHECK(note("12. item") == "12\\. item");
  CHECK(note("3) item") == "3\\) item");
  CHECK(note("12.5 km") == "12.5 km");
  CHECK(note("    code") == "code");
  CHECK(note("a\n# b") == "a \\# b");
  CHECK(note("R&D &lt; ~~x~~") == "R&amp;D &amp;lt; \\~\\~x\\~\\~");
  CHECK(note("http://x.y www.x.y a@b.c") == "http\\://x.y www\\.x.y a\\@b.c");
  CHECK(note("![i](j) $m$ \\") == "\\!\\[i\\](j) \\$m\\$ \\\\");
  Batch batch = intake();
  batch.reports.front().unit_id = "a|b";
  batch.rejected.front().message = "is \"</pre><script>\"";
  const std::string table = to_markdown(batch, Units::km);
  CHECK(has(table, "| 1 | a\\|b | D |"));
  CHECK(has(table, "is \"&lt;/pre&gt;&lt;script&gt;\""));
}

TEST_CASE("owner's Markdown holds no evidence", "[report][markdown]") {
  const std::string text = to_markdown(owners(), Units::km, true);
  CHECK(has(text, "\n**Grade U:** Not graded yet"));
  CHECK_FALSE(has(text, " dB"));
  CHECK_FALSE(has(text, "Causes"));
}

// ------------------------------------------------------------------- JSON

TEST_CASE("JSON: one line with the contract's names", "[report][json]") {
  const std::string text = to_json(leaking());
  REQUIRE(text.ends_with("}\n"));
  CHECK(std::ranges::count(text, '\n') == 1);
  const json expected = json::parse(R"json(
{
 "format": "dryshaft-report/1",
 "tool": {
  "name": "dryshaft",
  "version": "0.1.0"
 },
 "as_of": "2026-03-20",
 "rules": {
  "id": "core",
  "version": "1.0.0",
  "sha256": "3f9a0c12b4de77aa3f9a0c12b4de77aa3f9a0c12b4de77aa3f9a0c12b4de77aa"
 },
 "family": {
  "id": "plover-2",
  "sha256": "5eed0c12b4de77aa5eed0c12b4de77aa5eed0c12b4de77aa5eed0c12b4de77aa"
 },
 "record": {
  "source": "intake.jsonl",
  "line": 17,
  "sha256": "b01dfacedeadc0deb01dfacedeadc0deb01dfacedeadc0deb01dfacedeadc0de"
 },
 "records": [
  {
   "source": "intake.jsonl",
   "line": 17,
   "sha256": "b01dfacedeadc0deb01dfacedeadc0deb01dfacedeadc0deb01dfacedeadc0de",
   "date": "2026-03-14",
   "set_aside": false
  }
 ],
 "records_sha256": "a11dfacedeadc0dea11dfacedeadc0dea11dfacedeadc0dea11dfacedeadc0de",
 "audience": "technician",
 "unit_id": "HL-0147",
 "unit": {
  "family": "plover-2",
  "family_title": "Plover 2",
  "vehicle": "Tarn",
  "odometer_km": 182400,
  "seal_km": 121150
 },
 "date": "2026-03-14",
 "by": "a technician",
 "grade": "D",
 "grade_meaning": "damage now, or a hazard: do not drive or energise until opened or made safe",
 "headline": "Coolant has passed the rotor shaft seal (over 99 %) and the rotor bearings are probably rusting (88 %).",
 "at_least": null,
 "floors": [
  {
   "rule": "pooled-coolant",
   "grade": "D",
   "because": "coolant stands in the port"
  },
  {
   "rule": "rust-on-tip",
   "grade": "B",
   "because": "rust on the sensor tip"
  }
 ],
 "reasons": [
  "the probability of damage is high even without the floors"
 ],
 "risk": 0.9987,
 "causes": [
  {
   "id": "seal-leak",
   "title": "coolant past the rotor shaft seal",
   "probability": 0.9987,
   "evidence": {
    "for": [
     {
      "rule": "leak-shows-pooled",
      "finding": "port-fluid",
      "value": "pooled",
      "shown": "liquid standing in the port",
      "decibans": 27.3
     },
     {
      "rule": "leak-is-coolant",
      "finding": "port-fluid-kind",
      "value": "coolant",
      "shown": "the liquid is coolant",
      "decibans": 9.1
     },
     {
      "rule": "leak-rust",
      "finding": "port-rust",
      "value": "light",
      "shown": "light rust on the tip",
      "decibans": 3.2
     }
    ],
    "against": [
     {
      "rule": "leak-debris",
      "finding": "port-debris",
      "value": "none",
      "shown": "no debris on the tip",
      "decibans": -0.6
     }
    ]
   },
   "not_observed": [
    "coolant-loss"
   ]
  },
  {
   "id": "rotor-bearing-corrosion",
   "title": "rusted rotor bearings",
   "probability": 0.8812,
   "evidence": {
    "for": [
     {
      "rule": "rust-noise",
      "finding": "noise",
      "value": "present",
      "shown": "a noise is heard",
      "decibans": 6.6
     },
     {
      "rule": "rust-rust",
      "finding": "port-rust",
      "value": "light",
      "shown": "light rust on the tip",
      "decibans": 5.9
     }
    ],
    "against": [
     {
      "rule": "rust-rotation",
      "finding": "rotation",
      "value": "free",
      "shown": "turns freely by hand",
      "decibans": -2.4
     }
    ]
   },
   "not_observed": [
    "noise-onset"
   ]
  },
  {
   "id": "gear-bearing-erosion",
   "title": "gearbox input bearings etched by current",
   "probability": 0.2204,
   "evidence": {
    "for": [
     {
      "rule": "gear-noise",
      "finding": "noise",
      "value": "present",
      "shown": "a noise is heard",
      "decibans": 4.5
     }
    ],
    "against": []
   },
   "not_observed": [
    "noise-load"
   ]
  },
  {
   "id": "insulation-loss",
   "title": "insulation lowered by fluid",
   "probability": 0.0613,
   "evidence": {
    "for": [],
    "against": [
     {
      "rule": "insulation-fault",
      "finding": "isolation-fault",
      "value": "none",
      "shown": "no isolation fault reported",
      "decibans": -4.1
     }
    ]
   },
   "not_observed": [
    "insulation"
   ]
  },
  {
   "id": "outside-noise",
   "title": "a noise from outside the unit",
   "probability": 0.03,
   "evidence": {
    "for": [
     {
      "rule": "outside-noise",
      "finding": "noise",
      "value": "present",
      "shown": "a noise is heard",
      "decibans": 3.1
     }
    ],
    "against": [
     {
      "rule": "outside-pitch",
      "finding": "noise-pitch",
      "value": "yes",
      "shown": "its pitch follows road speed",
      "decibans": -1.2
     }
    ]
   },
   "not_observed": []
  },
  {
   "id": "rotor-bearing-erosion",
   "title": "rotor bearings etched by current",
   "probability": 0.0021,
   "evidence": {
    "for": [],
    "against": []
   },
   "not_observed": []
  }
 ],
 "observed": [
  {
   "finding": "port-fluid",
   "value": "pooled",
   "shown": "liquid at the port: standing in the port",
   "since": null
  },
  {
   "finding": "port-fluid-kind",
   "value": "coolant",
   "shown": "kind of liquid: coolant",
   "since": null
  },
  {
   "finding": "port-rust",
   "value": "light",
   "shown": "rust on the tip: light rust",
   "since": null
  },
  {
   "finding": "noise",
   "value": "present",
   "shown": "noise: present",
   "since": "2025-10-02"
  }
 ],
 "not_observed": [
  {
   "finding": "insulation",
   "value": null,
   "shown": "insulation resistance",
   "since": null
  },
  {
   "finding": "noise-load",
   "value": null,
   "shown": "noise by load",
   "since": null
  },
  {
   "finding": "noise-onset",
   "value": null,
   "shown": "how the noise began",
   "since": null
  },
  {
   "finding": "coolant-loss",
   "value": null,
   "shown": "unexplained coolant loss",
   "since": null
  }
 ],
 "contradictions": [],
 "actions": [
  {
   "id": "stop-driving",
   "urgency": "now",
   "within_km": 0,
   "within_days": 0,
   "asked": "",
   "text": "do not drive or energise the car; bring it in on a trailer",
   "because": "coolant stands in the motor cavity",
   "title": "take it out of use",
   "cautions": [],
   "rule": "advice-stop-driving"
  },
  {
   "id": "open-and-rebuild",
   "urgency": "now",
   "within_km": null,
   "within_days": 14,
   "asked": "",
   "text": "open the unit, clean it, reseal the rotor shaft and fit new hybrid rotor bearings",
   "because": "rust goes on while coolant stays inside, running or not",
   "title": "open and rebuild it",
   "cautions": ["toxic-coolant", "high-voltage"],
   "rule": "advice-open-and-rebuild"
  },
  {
   "id": "renew-gear-bearings",
   "urgency": "planned",
   "within_km": null,
   "within_days": null,
   "asked": "",
   "text": "renew the gearbox input bearings (hybrid) while it is open",
   "because": "the labour is paid for once the unit is open",
   "title": "renew the gearbox input bearings",
   "cautions": ["high-voltage"],
   "rule": "advice-renew-gear-bearings"
  },
  {
   "id": "measure-insulation",
   "urgency": "soon",
   "within_km": 500,
   "within_days": 30,
   "asked": "",
   "text": "measure the insulation before anything is energised",
   "because": "",
   "title": "measure the insulation",
   "cautions": [],
   "rule": "advice-measure-insulation"
  }
 ],
 "cautions": [
  {
   "id": "high-voltage",
   "text": "Lethal direct voltage: isolate, lock out, prove dead. Licensed people only; local rules apply."
  },
  {
   "id": "toxic-coolant",
   "text": "Glycol poisons people and animals: collect every drop."
  },
  {
   "id": "not-a-certificate",
   "text": "This is a screening aid, no certificate; a qualified technician decides."
  }
 ],
 "next_checks": [
  {
   "id": "measure-insulation",
   "text": "measure the insulation resistance of the winding to the casing",
   "minutes": 20,
   "gain_bits": 0.0312,
   "bits_per_minute": 0.0016,
   "grades_possible": [
    "D"
   ]
  },
  {
   "id": "road-test",
   "text": "note under which load the noise is heard",
   "minutes": 15,
   "gain_bits": 0.001,
   "bits_per_minute": 0.0001,
   "grades_possible": [
    "D"
   ]
  }
 ],
 "would_change": [
  {
   "findings": [
    {
     "finding": "port-fluid",
     "value": "none"
    },
    {
     "finding": "port-rust",
     "value": "none"
    }
   ],
   "shown": "a dry and clean tip at a repeated check",
   "grade": "B"
  }
 ],
 "recheck": {
  "km": 1000,
  "days": 30,
  "overdue": false,
  "due_km": 183400,
  "due_date": "2026-04-13",
  "because": "after the rebuild, to see that the new seal holds"
 },
 "due": [],
 "rebuild_outlook": "routine",
 "rebuild_outlook_text": "caught before the winding was harmed, as far as is known",
 "history": {
  "earlier": [
   {
    "date": "2024-11-20",
    "odometer_km": 151020,
    "grade": "A",
    "risk": 0.0079
   },
   {
    "date": "2025-10-02",
    "odometer_km": null,
    "grade": "U",
    "risk": 0.18
   }
  ],
  "events": [
   {
    "id": "seal-renewed",
    "text": "rotor shaft seal renewed",
    "odometer_km": 61250,
    "date": "2024-11-20"
   },
   {
    "id": "rotor-circuit-bypassed",
    "text": "rotor circuit bypassed",
    "odometer_km": null,
    "date": "2025-10-02"
   }
  ],
  "compared": [
   {
    "with": "2025-10-02",
    "since_what": "last-inspection",
    "grade_before": "U",
    "findings": [
     {
      "finding": "port-fluid",
      "before": null,
      "now": "pooled",
      "kind": "first-seen",
      "shown": "liquid at the port: pooled"
     }
    ],
    "began": 0.71,
    "reading": "possible-development",
    "text": "worse: U to D, with coolant at the port for the first time"
   },
   {
    "with": "2024-11-20",
    "since_what": "last-repair",
    "grade_before": "A",
    "findings": [],
    "began": null,
    "reading": "repaired",
    "text": "seal renewed since"
   }
  ],
  "change": "worse: U to D, with coolant at the port for the first time"
 },
 "warnings": [],
 "note": "Customer says the hum began last winter. Photo 3 shows the tip.",
 "owner_summary": [],
 "whereabouts": "in-use",
 "prognosis": [],
 "one_in_ten_km": null,
 "how_sure": {
  "values": 40,
  "odds_factor": 3,
  "risk_low": 0.9812,
  "risk_high": 0.9999,
  "grade_holds": 1,
  "grades": [
   "D"
  ],
  "rests_on": [
   {
    "rule": "leak-shows-pooled",
    "value": "shows",
    "decibans": 3.1
   }
  ]
 }
}
)json");
  CHECK(json::parse(text) == expected);
  // The order of the members is part of the bytes.
  CHECK(text.starts_with(
      R"({"format":"dryshaft-report/1","tool":{"name":"dryshaft","version":"0.1.0"},"as_of":"2026-03-20",)"
      R"("rules":{)"
      R"("id":"core","version":"1.0.0","sha256":"3f9a)"));
}

TEST_CASE("JSON: rounding", "[report][json]") {
  Report r = leaking();
  r.risk = 0.12344999;
  r.causes[0].probability = 0.00004;
  r.causes[0].for_it[0].decibans = -0.04;
  r.actions[0].within_km = 499.6;
  r.next_checks[0].gain_bits = 0.33333333;
  r.next_checks[0].minutes = 12.5;
  r.odometer_km = 182400.4;
  const std::string text = to_json(r);
  CHECK(has(text, R"("risk":0.1234,)"));
  CHECK(has(text, R"("probability":0,)"));
  CHECK(has(text, R"("decibans":0})"));  // not -0
  CHECK(has(text, R"("within_km":500,)"));
  CHECK(has(text, R"("minutes":12.5,"gain_bits":0.3333,"bits_per_minute":0.0267,)"));
  CHECK(has(text, R"("odometer_km":182400,)"));
}

TEST_CASE("JSON: what is not a number is null", "[report][json]") {
  Report r = leaking();
  r.risk = kNan;
  r.causes[0].probability = kInfinity;
  r.causes[0].for_it[0].decibans = -kInfinity;
  r.actions[0].within_km = kNan;
  r.recheck.days = kInfinity;
  r.odometer_km = kNan;
  r.next_checks[0].minutes = 0;
  r.history.earlier[0].risk = kNan;
  const json parsed = json::parse(to_json(r));
  CHECK(parsed["risk"].is_null());
  CHECK(parsed["causes"][0]["probability"].is_null());
  CHECK(parsed["causes"][0]["evidence"]["for"][0]["decibans"].is_null());
  CHECK(parsed["actions"][0]["within_km"].is_null());
  CHECK(parsed["recheck"]["days"].is_null());
  CHECK(parsed["unit"]["odometer_km"].is_null());
  CHECK(parsed["next_checks"][0]["bits_per_minute"].is_null());
  CHECK(parsed["history"]["earlier"][0]["risk"].is_null());
  for (const std::string& text : {to_text(r, {}), to_markdown(r, Units::km), to_csv(r)}) {
    CHECK_FALSE(has(text, "nan"));
    CHECK_FALSE(has(text, "inf dB"));
    CHECK_FALSE(has(text, "inf,"));
  }
  r.risk = 1e307;  // too large to round to digits
  CHECK(json::parse(to_json(r))["risk"] == 1e307);
}

TEST_CASE("JSON: strings survive, whatever is in them", "[report][json]") {
  Report r = healthy();
  std::string every;
  for (char32_t c = 0; c < 0x3000; ++c) {
    const auto put = [&](char32_t byte) { every.push_back(static_cast<char>(byte)); };
    if (c < 0x80) {
      put(c);
    } else if (c < 0x800) {
      put(0xC0U | (c >> 6U)), put(0x80U | (c & 0x3FU));
    } else {
      put(0xE0U | (c >> 12U)), put(0x80U | ((c >> 6U) & 0x3FU)), put(0x80U | (c & 0x3FU));
    }
  }
  every += u8(u8"\U0001F600\U0010FFFF");
  r.note = every;
  const std::string text = to_json(r);
  CHECK(json::parse(text)["note"].get<std::string>() == every);
  CHECK(std::ranges::none_of(text.substr(0, text.size() - 1),
                             [](char c) { return (c >= 0 && c < 0x20) || c == 0x7F; }));
  r.note =
      "a\xff\xC3"
      "b\xED\xA0\x80";  // a stray byte, a cut sequence, a surrogate
  CHECK(json::parse(to_json(r))["note"].get<std::string>() ==
        u8(u8"a\ufffd\ufffdb\ufffd\ufffd\ufffd"));
}

TEST_CASE("JSON: an owner's report and an empty one", "[report][json]") {
  const json parsed = json::parse(to_json(owners()));
  CHECK(parsed["audience"] == "owner");
  CHECK(parsed["at_least"] == "B");
  CHECK(parsed["owner_summary"].size() == 2);
  CHECK(parsed["actions"][0]["text"] == "have a workshop look at the rotor-sensor port");
  const json none = json::parse(to_json(Report{}));
  CHECK(none["unit_id"] == "");
  CHECK(none["grade"] == "U");
  CHECK(none["causes"].empty());
  CHECK(none["unit"]["vehicle"].is_null());
  CHECK(none["recheck"]["km"].is_null());
}

TEST_CASE("empty reports and batches have a text", "[report][text]") {
  CHECK_FALSE(to_text(Report{}, {}).empty());
  CHECK(to_text(Batch{}, {}) == "0 units assessed\n");
  CHECK(to_markdown(Batch{}, Units::km) == "# 0 units assessed\n");
}

// -------------------------------------------------------------------- CSV

TEST_CASE("CSV: header and rows", "[report][csv]") {
  CHECK(csv_header() ==
        "unit_id,family,vehicle,date,odometer_km,grade,at_least,risk,top_cause,"
        "top_cause_probability,first_action,urgency,within_km,within_days,next_check,"
        "rebuild_outlook,contradictions,warnings,reservations,due_action,due_date,due_km,overdue,"
        "source,line,first_action_title,as_of,records,records_sha256,rules_sha256,family_sha256,"
        "onset_sha256,overlay_sha256\r\n");
  const Report blank = blank_report();
  const std::string basis = "," + blank.as_of + ",1," + blank.records_sha256 + "," +
                            blank.rules_sha256 + "," + blank.family_sha256 + ",,\r\n";
  CHECK(to_csv(leaking()) ==
        "HL-0147,plover-2,Tarn,2026-03-14,182400,D,,0.9987,seal-leak,0.9987,stop-driving,now,0,0,"
        "measure-insulation,routine,,0,,,,,,intake.jsonl,17,take it out of use" +
            basis);
  CHECK(to_csv(unchecked()) ==
        "HL-0152,dunlin-1,Corrie,2026-03-14,,U,B,0.6642,gear-bearing-erosion,0.614,check-port,"
        "soon,1500,30,check-port,unknown,,1,,,,,,intake.jsonl,18,check the port" +
            basis);
  CHECK(to_csv(Report{}) == ",,,,,U,,0,,,,,,,,,,0,,,,,,,0,,,0,,,,,\r\n");
}

TEST_CASE("CSV: cells are quoted and run nothing", "[report][csv]") {
  const auto cell = [](std::string id) {
    Report r = healthy();
    r.unit_id = std::move(id);
    const std::string row = to_csv(r);
    return row.substr(0, row.find(",plover-2"));
  };
  CHECK(cell("plain 1") == "plain 1");
  CHECK(cell("a,b") == "\"a,b\"");
  CHECK(cell("a;b") == "\"a;b\"");
  CHECK(cell("say \"hi\"") == "\"say \"\"hi\"\"\"");
  CHECK(cell("two\r\nlines") == "\"two\r\nlines\"");
  CHECK(cell("=1+1") == "\"'=1+1\"");
  CHECK(cell("+1") == "\"'+1\"");
  CHECK(cell("-1") == "\"'-1\"");
  CHECK(cell("@x") == "\"'@x\"");
  CHECK(cell("\t=1") == "\"'\t=1\"");
  CHECK(cell("\r=1") == "\"'\r=1\"");
  CHECK(cell("a=1") == "a=1");
  // Where semicolons separate, a quote in mid-cell counts for nothing.
  CHECK(cell("a;=1+1;b") == "\"a;'=1+1;b\"");
  CHECK(cell("a;;\t-1") == "\"a;;'\t-1\"");
  for (const std::string wide : {"\xEF\xBC\x9D", "\xEF\xBC\x8B", "\xEF\xBC\x8D", "\xEF\xBC\xA0"}) {
    CHECK(cell(wide) == "\"'" + wide + "\"");
  }
  CHECK(cell("a\x1b[1m\xff") == u8(u8"a\ufffd[1m\ufffd"));
  Report r = healthy();
  r.contradictions = {{"one", ""}, {"two", ""}};
  CHECK(has(to_csv(r), ",routine,\"one;two\",0,"));
}

// ------------------------------------------------------------------- rank

TEST_CASE("rank: one order, whatever the order before", "[report][rank]") {
  const auto made = [](Grade grade, Urgency urgency, double risk, std::string id, std::string date,
                       std::string sha) {
    Report r;
    r.grade = grade;
    // The most urgent action counts, wherever it stands.
    r.actions = {{"recheck", "", "", Urgency::routine, {}, {}, ""},
                 {"x", "", "", urgency, {}, {}, ""}};
    r.risk = risk;
    r.unit_id = std::move(id);
    r.date = std::move(date);
    r.record_sha256 = std::move(sha);
    return r;
  };
  const auto wrong_orders = [](const std::vector<Report>& ranked) {
    std::vector<std::size_t> order(ranked.size());
    std::iota(order.begin(), order.end(), 0U);
    std::size_t wrong = 0;
    do {
      std::vector<Report> shuffled;
      shuffled.reserve(order.size());
      for (const std::size_t i : order) {
        shuffled.push_back(ranked[i]);
      }
      rank(shuffled);
      wrong +=
          std::ranges::equal(shuffled, ranked, {}, &Report::record_sha256, &Report::record_sha256)
              ? 0U
              : 1U;
    } while (std::ranges::next_permutation(order).found);
    return wrong;
  };
  // The grade first, whatever else speaks for another order.
  CHECK(wrong_orders({
            made(Grade::D, Urgency::routine, 0.1, "z", "2026-01-02", "1"),
            made(Grade::C, Urgency::planned, 0.2, "y", "2026-01-02", "2"),
            made(Grade::U, Urgency::soon, 0.3, "x", "2026-01-02", "3"),
            made(Grade::B, Urgency::now, 0.4, "w", "2026-01-02", "4"),
            made(Grade::A, Urgency::now, 0.5, "v", "2026-01-02", "5"),
        }) == 0);
  // Then urgency, risk, id, date, sha256.
  CHECK(wrong_orders({
            made(Grade::B, Urgency::now, 0.2, "z", "2026-01-02", "1"),
            made(Grade::B, Urgency::soon, 0.9, "z", "2026-01-02", "2"),
            // Equal as printed, so that the id decides.
            made(Grade::B, Urgency::soon, 0.50001, "a", "2026-01-02", "3"),
            made(Grade::B, Urgency::soon, 0.50004, "b", "2026-01-01", "6"),
            made(Grade::B, Urgency::soon, 0.5, "b", "2026-01-02", "4"),
            made(Grade::B, Urgency::soon, 0.5, "b", "2026-01-02", "5"),
        }) == 0);
  // A risk that is not a number does not hide at the end.
  CHECK(wrong_orders({
            made(Grade::A, Urgency::routine, kNan, "z", "2026-01-02", "1"),
            made(Grade::A, Urgency::routine, 0.02, "a", "2026-01-02", "2"),
            made(Grade::A, Urgency::routine, 0.01, "a", "2026-01-02", "3"),
        }) == 0);
}

}  // namespace
}  // namespace dryshaft
