// What a person has to know in five seconds stands in the first ten lines, and a screen holds the
// answer: of every example, for every reader.
#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <string>
#include <vector>

#include "base/sentence.hpp"
#include "report/document.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

constexpr std::size_t kFirstLines = 10;
constexpr std::size_t kScreen = 40;

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = text.find('\n', at);
    lines.push_back(text.substr(at, end - at));
    at = end + 1;
  }
  return lines;
}

// One space between words, small letters: a line may break anywhere.
std::string flat(std::string_view text) {
  std::string out;
  for (const char c : text) {
    const bool space = c == ' ' || c == '\n';
    if (!space || !out.ends_with(' ')) {
      out += space ? ' ' : static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
    }
  }
  return out;
}

bool holds_words(const std::string& screen, std::string_view words) {
  return screen.find(flat(without_full_stop(words))) != std::string::npos;
}

struct Reader {
  Audience audience;
  bool buying;
};
constexpr Reader kReaders[] = {
    {Audience::technician, false}, {Audience::owner, false}, {Audience::owner, true}};

Report report_for(const History& history, const Reader& reader) {
  return test::shipped_grader().report(
      history, {.audience = reader.audience, .buying = reader.buying, .today = std::nullopt});
}

// Grade, what decides it, the first thing to do and its limit.
void five_seconds(const Report& report, const std::vector<std::string>& lines) {
  std::string ten;
  for (std::size_t i = 0; i < std::min(kFirstLines, lines.size()); ++i) {
    ten += lines[i] + "\n";
  }
  const std::string screen = flat(ten);
  INFO(ten);
  CHECK(holds_words(screen, report.unit_id));
  CHECK(holds_words(screen, std::string("grade ") + std::string(name(report.grade))));
  CHECK(holds_words(screen, report.grade_meaning));
  if (!report.floors.empty()) {
    CHECK(holds_words(screen, report.floors.front().because));
  } else if (report.audience == Audience::technician) {
    CHECK(holds_words(screen, report.headline));
  }
  const Action& first = report.actions.front();
  CHECK(holds_words(screen, report.audience == Audience::owner ? first.text : first.title));
  CHECK(holds_words(screen, name(first.urgency)));
  if (first.within_km != 0.0) {
    CHECK(holds_words(screen, first.due_date));
  }
}

// Each caution that an action needs is said once, and before it.
void cautions_first(const Report& report, const std::string& text) {
  const std::string screen = flat(text);
  const std::size_t list = screen.find("what to do, ");
  // What holds of the unit itself is before all, whoever needs it.
  for (const CautionRule& c : test::shipped().cautions) {
    const bool holds =
        std::ranges::find(report.cautions, c.id, &Caution::id) != report.cautions.end();
    if (holds && c.always && !c.when.any.empty()) {
      INFO(c.id);
      CHECK(screen.find(flat(without_full_stop(c.brief))) < screen.find("1. ", list));
    }
  }
  for (std::size_t i = 0; i < report.actions.size(); ++i) {
    const Action& action = report.actions[i];
    const std::size_t told =
        screen.find(flat(std::to_string(i + 1) + ". " +
                         std::string(without_full_stop(i == 0 ? action.text : action.title))),
                    list);
    REQUIRE(told != std::string::npos);
    for (const std::string& id : action.cautions) {
      const auto caution = std::ranges::find(report.cautions, id, &Caution::id);
      REQUIRE(caution != report.cautions.end());
      const std::string words = flat(without_full_stop(caution->brief));
      const std::size_t at = screen.find(words);
      INFO(id << " before " << action.id);
      CHECK(at < told);
      CHECK(screen.find(words, at + 1) == std::string::npos);
    }
  }
}

void look_at(const History& history) {
  for (const Reader& reader : kReaders) {
    const Report report = report_for(history, reader);
    const std::string text = to_text(report, {});
    const std::vector<std::string> lines = lines_of(text);
    INFO(text);
    CHECK(lines.size() <= kScreen);
    five_seconds(report, lines);
    if (reader.audience == Audience::technician) {
      cautions_first(report, text);
    }
    // All that the screen leaves out stands behind it.
    CHECK(to_text(report, {.full = true}).starts_with(text.substr(0, text.rfind("\nAs of "))));
  }
}

History example(const std::string& name) {
  return test::history_of(test::read_file(std::filesystem::path(DRYSHAFT_EXAMPLES_DIR) / name));
}

}  // namespace

TEST_CASE("grade, finding, first action and limit stand in the first ten lines of every example") {
  std::size_t seen = 0;
  for (const auto& file : std::filesystem::directory_iterator(DRYSHAFT_EXAMPLES_DIR)) {
    const std::string name = file.path().filename().string();
    if (name.ends_with(".json") && name != "prices.json" && name != "contradictory.json") {
      INFO(name);
      look_at(example(name));
      ++seen;
    }
  }
  CHECK(seen >= 17);
}

TEST_CASE("a screen holds the answer of every unit of a yard") {
  std::string intake =
      test::read_file(std::filesystem::path(DRYSHAFT_EXAMPLES_DIR) / "intake.jsonl");
  for (int unit = 0; unit < 300; ++unit) {
    const std::size_t end = intake.find('\n');
    REQUIRE(end != std::string::npos);
    look_at(test::history_of(intake.substr(0, end)));
    intake.erase(0, end + 1);
  }
}

TEST_CASE("nothing that stands in no car is told of driving") {
  const Report core = report_for(
      test::history_of(test::record_text(
          R"("by":"intake","port":{"checked":true,"fluid":"pooled","fluid_kind":"coolant"})")),
      kReaders[0]);
  REQUIRE(core.whereabouts == Whereabouts::core);
  REQUIRE(core.grade == Grade::D);
  std::string text = flat(to_text(core, {.full = true}));
  text.erase(text.find("cautions in full"));  // they are the same for all
  for (const std::string_view word : {"driv", "car ", "flatbed"}) {
    const std::size_t at = text.find(word);
    INFO(text.substr(at == std::string::npos ? 0 : at - std::min<std::size_t>(at, 60), 140));
    CHECK((at == std::string::npos || text.substr(at).starts_with("drive unit")));
  }
  for (const Action& a : core.actions) {
    CHECK(a.within_km.value_or(0) == 0);
    CHECK_FALSE(a.due_km.has_value());
  }
}

TEST_CASE("of a unit that lies open it is told what to do before it is closed") {
  const std::string inspection =
      R"("odometer_km":152000,"by":"technician","noise":{"present":true,"when":["accelerating"]})";
  const auto opened = [&](std::string_view work) {
    std::string text = test::record_text(inspection);
    text.insert(text.rfind('}'),
                R"(,"teardown":{"date":"2026-03-02","seal-leak":"present"})" + std::string(work));
    return report_for(test::history_of(text), kReaders[0]);
  };
  const Report open = opened("");
  REQUIRE(open.whereabouts == Whereabouts::opened);
  CHECK(open.grade == Grade::C);
  const std::string text = flat(to_text(open, {}));
  CHECK(text.find("rebuild it before it is closed") != std::string::npos);
  CHECK(text.find("pull the rotor-speed sensor") == std::string::npos);
  CHECK(text.find("driv") == std::string::npos);
  CHECK(open.actions.front().within_days.has_value());
  // Its owner may have it back, and is told of driving.
  std::string told = test::record_text(inspection);
  told.insert(told.rfind('}'), R"(,"teardown":{"date":"2026-03-02","seal-leak":"present"})");
  const Report owners = report_for(test::history_of(told), kReaders[1]);
  CHECK(owners.whereabouts == Whereabouts::in_use);
  CHECK_FALSE(owners.driving.empty());
  CHECK_FALSE(report_for(test::history_of(told), kReaders[2]).buying.empty());
  // Work on record closes it.
  CHECK(opened(R"(,"work":[{"did":"seal-renewed"}])").whereabouts == Whereabouts::in_use);
}

TEST_CASE("a quiet car that nobody has looked into is urged by distance and age") {
  const auto port = [](int km, std::string_view built) {
    const Report r =
        report_for(test::history_of(test::record_text("\"odometer_km\":" + std::to_string(km),
                                                      "\"built\":\"" + std::string(built) + "\"")),
                   kReaders[1]);
    REQUIRE(r.grade == Grade::U);
    REQUIRE(r.actions.front().id == "check-port");
    CHECK(r.recheck.km == r.actions.front().within_km);
    return r.actions.front();
  };
  const Action young = port(8000, "2025-03");
  CHECK(young.urgency == Urgency::planned);
  CHECK(young.within_km == 20000);
  CHECK(young.within_days == 365);
  const Action middle = port(90000, "2020-03");
  CHECK(middle.urgency == Urgency::planned);
  CHECK(middle.within_km == 5000);
  CHECK(middle.within_days == 90);
  const Action old = port(250000, "2015-03");
  CHECK(old.urgency == Urgency::soon);
  CHECK(old.within_km == 1000);
  CHECK(old.within_days == 30);
}

}  // namespace dryshaft
