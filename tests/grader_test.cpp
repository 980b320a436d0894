// The first page of the library: `Grader`.
#include "dryshaft/dryshaft.hpp"

#include <catch2/catch.hpp>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include "support.hpp"

namespace dryshaft {
namespace {

namespace fs = std::filesystem;

const Grader& opened() {
  static const Result<Grader> kOpened = Grader::open(DRYSHAFT_DATA_DIR);
  REQUIRE(test::complaints(kOpened.diagnostics).empty());
  return *kOpened.value;
}

// What the program prints.
std::string printed(const std::string& arguments) {
  const std::unique_ptr<FILE, int (*)(FILE*)> pipe(
      popen((DRYSHAFT_PROGRAM " " + arguments + " 2> /dev/null").c_str(), "r"), pclose);
  REQUIRE(pipe);
  std::string out;
  for (int c = 0; (c = std::fgetc(pipe.get())) != EOF;) {
    out += static_cast<char>(c);
  }
  return out;
}

// A copy of the data that tests may spoil.
class DataCopy {
 public:
  explicit DataCopy(std::string_view name)
      : path_(fs::temp_directory_path() / ("dryshaft-" + std::string(name))) {
    fs::remove_all(path_);
    fs::copy(DRYSHAFT_DATA_DIR, path_, fs::copy_options::recursive);
  }
  DataCopy(const DataCopy&) = delete;
  DataCopy& operator=(const DataCopy&) = delete;
  DataCopy(DataCopy&&) = delete;
  DataCopy& operator=(DataCopy&&) = delete;
  ~DataCopy() { fs::remove_all(path_); }

  [[nodiscard]] fs::path operator/(std::string_view name) const { return path_ / name; }
  // The complaints, with PATH for where it lies.
  [[nodiscard]] std::string refused() const {
    const Result<Grader> result = Grader::open(path_);
    CHECK(!result.value);
    std::string text = test::complaints(result.diagnostics);
    const std::string here = path_.string();
    for (std::size_t at = 0; (at = text.find(here)) != std::string::npos;) {
      text.replace(at, here.size(), "PATH");
    }
    return text;
  }

 private:
  fs::path path_;
};

TEST_CASE("a report is the program's, byte for byte") {
  std::size_t compared = 0;
  for (const fs::directory_entry& entry : fs::directory_iterator(DRYSHAFT_EXAMPLES_DIR)) {
    if (entry.path().extension() != ".json" || entry.path().filename() == "prices.json") {
      continue;
    }
    const std::string name = entry.path().string();
    CAPTURE(name);
    const Result<std::vector<History>> units = opened().read(test::read_file(name), name);
    REQUIRE(units.value->size() == 1);
    const History& unit = units.value->front();
    CHECK(to_json(opened().report(unit)) == printed("assess --format json " + name));
    CHECK(to_json(opened().report(unit, {.audience = Audience::owner, .buying = true})) ==
          printed("assess --format json --for owner --buying " + name));
    ++compared;
  }
  CHECK(compared >= 15);
}

TEST_CASE("a report says how sure it is") {
  const Report report = opened().report(test::history_of(test::record_text(test::dry_and(""))));
  REQUIRE(report.how_sure);
  CHECK(report.how_sure->rests_on.size() == 3);
  CHECK(report.how_sure->risk_low < report.how_sure->risk_high);
}

TEST_CASE("a bad record loses no good one, and its family is no other") {
  const std::string good = test::record_text(test::dry_and(""), R"("family":"plover-2")");
  const std::string mistyped = test::record_text("", R"("family":"plover-22")");
  const Result<std::vector<History>> units = opened().read(mistyped + good, "intake.jsonl");
  REQUIRE(units.value->size() == 1);
  CHECK(units.value->front().records.front().family == "plover-2");
  CHECK(units.value->front().records.front().line == 2);
  CHECK(units.has_errors());
  const std::string said = test::complaints(units.diagnostics);
  CHECK(test::has(said, "intake.jsonl:1:"));
  CHECK(test::has(said, "hint: did you mean \"plover-2\"?"));
  CHECK(opened().read("", "nothing").value->empty());
}

TEST_CASE("a date after the day of judgement is refused, and complaints come in order") {
  const Result<std::vector<History>> units =
      opened().read(test::record_text("") + "{", "a.jsonl", parse_date("2026-01-01"));
  REQUIRE(units.diagnostics.size() == 2);
  CHECK(units.diagnostics[0].line == 2);
  CHECK(units.diagnostics[1].line == 1);
}

TEST_CASE("a grader outlives what it was made from, and threads share it") {
  const History unit = test::history_of(test::record_text(R"("noise":{"present":true})"));
  const Grader first(test::shipped());
  Grader copy = first;
  const Grader moved = std::move(copy);
  CHECK(&moved.knowledge() == &first.knowledge());
  std::vector<std::string> reports(4);
  {
    std::vector<std::jthread> threads;
    for (std::string& report : reports) {
      threads.emplace_back([&] { report = to_json(moved.report(unit)); });
    }
  }
  for (const std::string& report : reports) {
    CHECK(report == to_json(opened().report(unit)));
  }
}

TEST_CASE("what is wrong with a folder of data is said, and thrown by nobody") {
  CHECK(test::complaints(Grader::open("/nowhere").diagnostics) ==
        "/nowhere/rules: error[no-folder]: is not a folder\n"
        "/nowhere/families: error[no-folder]: is not a folder\n");
  const DataCopy data("grader-test");
  SECTION("no file of rules") {
    fs::remove_all(data / "rules");
    fs::create_directory(data / "rules");
    CHECK(data.refused() == "PATH/rules: error[no-folder]: holds no .json file\n");
  }
  SECTION("one file of rules is missing") {
    fs::remove(data / "rules/links.json");
    CHECK(test::has(data.refused(), "links.json"));
  }
  SECTION("what is no .json file") {
    std::ofstream(data / "families/notes.txt") << "x";
    std::ofstream(data / "families/.hidden") << "x";
    CHECK(data.refused() ==
          "PATH/families: error[not-data]: holds what is no .json file: notes.txt; take it out, so "
          "that nothing is taken for a rule that is none\n");
  }
  SECTION("a file that cannot be read") {
    fs::remove(data / "rules/links.json");
    fs::create_symlink("/proc/self/mem", data / "rules/links.json");  // fails for root, too
    CHECK(data.refused() ==
          "PATH/rules/links.json: error[no-input]: cannot be read: Input/output error\n");
  }
  SECTION("a broken rule") {
    const fs::path path = data / "rules/links.json";
    const std::string text = test::read_file(path);
    std::ofstream(path, std::ios::binary) << text.substr(0, text.size() / 2);
    CHECK(test::has(data.refused(), "PATH/rules/links.json:"));
  }
}

}  // namespace
}  // namespace dryshaft
