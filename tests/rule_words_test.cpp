// What rules are called changes nothing, for ids are the shop's own; nor does it whether their
// sentences end in a full stop.
#include <algorithm>
#include <catch2/catch.hpp>
#include <map>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "dryshaft/form.hpp"
#include "dryshaft/plan.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using Json = nlohmann::ordered_json;
using Names = std::map<std::string, std::string>;

// The lists whose ids no word of the vocabulary is.
constexpr std::string_view kOpenLists[] = {"actions",  "advice", "backgrounds", "cautions",
                                           "chances",  "floors", "links",       "options",
                                           "outlooks", "times",  "jobs",        "bars"};

// Another id, and another order of ids.
std::string renamed(std::string id) {
  std::ranges::reverse(id);
  return "x-" + id;
}

void gather(const Json& tree, bool open, Names& names) {
  if (tree.is_object() && open && tree.contains("id")) {
    const std::string id = tree["id"];
    names.emplace(id, renamed(id));
  }
  if (tree.is_object()) {
    for (const auto& [key, value] : tree.items()) {
      gather(value, std::ranges::find(kOpenLists, key) != std::end(kOpenLists), names);
    }
  } else if (tree.is_array()) {
    for (const Json& value : tree) {
      gather(value, open, names);
    }
  }
}

// Every text that is one of the names.
void rename(Json& tree, const Names& names) {
  if (tree.is_string()) {
    const auto found = names.find(tree.get<std::string>());
    if (found != names.end()) {
      tree = found->second;
    }
  } else if (tree.is_structured()) {
    for (Json& value : tree) {
      rename(value, names);
    }
  }
}

Names inverse(const Names& names) {
  Names back;
  for (const auto& [from, to] : names) {
    back.emplace(to, from);
  }
  return back;
}

// Roles have words of their own, which are no ids.
std::vector<NamedText> renamed(std::vector<NamedText> files, const Names& names) {
  for (NamedText& file : files) {
    Json tree = Json::parse(file.text);
    rename(tree, names);
    file.text = tree.dump(1);
  }
  return files;
}

std::vector<NamedText> shipped_work_files() {
  return test::read_folder(std::filesystem::path(DRYSHAFT_DATA_DIR) / "work");
}

// The shipped rules and work data with every id of the open lists another one.
struct Renamed {
  Names names;
  Names back;
  Knowledge knowledge;
  WorkRules work;
};
const Renamed& other() {
  static const Renamed made = [] {
    Renamed r;
    std::vector<NamedText> rules = test::own_rules();
    std::vector<NamedText> work = shipped_work_files();
    for (const auto* files : {&rules, &work}) {
      for (const NamedText& file : *files) {
        gather(Json::parse(file.text), false, r.names);
      }
    }
    r.back = inverse(r.names);
    Result<Knowledge> loaded =
        load_knowledge(renamed(std::move(rules), r.names), test::shipped_families());
    if (!loaded.value || !loaded.diagnostics.empty()) {
      throw std::runtime_error(test::complaints(loaded.diagnostics));
    }
    r.knowledge = std::move(*loaded.value);
    Result<WorkRules> read = load_work(renamed(std::move(work), r.names), r.knowledge);
    if (!read.value || !read.diagnostics.empty()) {
      throw std::runtime_error(test::complaints(read.diagnostics));
    }
    r.work = std::move(*read.value);
    return r;
  }();
  return made;
}

// Without what says which rules they were, and with the shipped names.
Json comparable(const std::string& text) {
  Json tree = Json::parse(text);
  tree.erase("rules");
  std::vector<std::string> warnings;
  if (tree.contains("warnings")) {
    for (const Json& w : tree["warnings"]) {
      if (std::ranges::find(other().knowledge.reservations, w.get<std::string>()) ==
          other().knowledge.reservations.end()) {
        warnings.push_back(w);
      }
    }
    tree["warnings"] = warnings;
  }
  rename(tree, other().back);
  return tree;
}

std::vector<History> intake_histories() {
  Records read =
      read_records(test::read_file(std::filesystem::path(DRYSHAFT_EXAMPLES_DIR) / "intake.jsonl"),
                   "intake", read_options(test::shipped()));
  return std::move(*group_by_unit(std::move(read.records)).value);
}

TEST_CASE("actions, cautions, floors and links go by any other id") {
  CHECK(other().names.size() > 150);
  const Model model(other().knowledge);
  std::size_t overdue = 0;
  std::size_t differ = 0;
  for (const History& unit : intake_histories()) {
    for (const Audience audience : {Audience::technician, Audience::owner}) {
      const AssessOptions options{.audience = audience, .today = parse_date("2026-03-20")};
      const Report as_shipped = assess(unit, test::shipped(), test::shipped_model(), options);
      const Report as_renamed = assess(unit, other().knowledge, model, options);
      overdue += as_shipped.recheck.overdue ? 1U : 0U;
      if (comparable(to_json(as_shipped)) != comparable(to_json(as_renamed)) && ++differ < 4) {
        CHECK(comparable(to_json(as_shipped)).dump(1) == comparable(to_json(as_renamed)).dump(1));
      }
    }
  }
  CHECK(differ == 0);
  CHECK(overdue > 20);
}

TEST_CASE("options, jobs and work go by any other id") {
  const Grader grader(other().knowledge);
  const PriceBook prices =
      *load_prices({"prices.json",
                    test::read_file(std::filesystem::path(DRYSHAFT_EXAMPLES_DIR) / "prices.json")})
           .value;
  for (const std::string_view name :
       {"film-caught-early.json", "dry-and-quiet.json", "owner-no-port-check.json"}) {
    const History unit = test::history_of(
        test::read_file(std::filesystem::path(DRYSHAFT_EXAMPLES_DIR) / std::string(name)));
    const PlanOptions options{.horizon_km = 30000,
                              .audience = Audience::technician,
                              .today = std::nullopt,
                              .swings = false};
    const Result<WorkRules> work = load_work(shipped_work_files(), test::shipped());
    CHECK(comparable(to_json(make_plan(unit, test::shipped_grader(), *work.value, prices, options)))
              .dump(1) ==
          comparable(to_json(make_plan(unit, grader, other().work, prices, options))).dump(1));
  }
}

// Takes the full stop from every text that ends in one.
void open_sentences(Json& tree) {
  if (tree.is_string()) {
    std::string text = tree;
    if (text.ends_with('.')) {
      text.pop_back();
      tree = text;
    }
  } else if (tree.is_structured()) {
    for (Json& value : tree) {
      open_sentences(value);
    }
  }
}

TEST_CASE("a sentence of the rules without its full stop loses no letter and runs into no other") {
  std::vector<NamedText> files = test::own_rules();
  const Result<Knowledge> closed = load_knowledge(files, test::shipped_families());
  for (NamedText& file : files) {
    Json tree = Json::parse(file.text);
    open_sentences(tree);
    file.text = tree.dump(1);
  }
  Result<Knowledge> open = load_knowledge(std::move(files), test::shipped_families());
  REQUIRE(open.value);
  REQUIRE(open.value->rules_sha256 != closed.value->rules_sha256);
  open.value->rules_sha256 = closed.value->rules_sha256;
  const Model model(*open.value);
  std::size_t shortened = 0;
  std::size_t differ = 0;
  for (const History& unit : intake_histories()) {
    for (const Audience audience : {Audience::technician, Audience::owner}) {
      const AssessOptions options{.audience = audience, .today = parse_date("2026-03-20")};
      const Report with = assess(unit, *closed.value, test::shipped_model(), options);
      const Report without = assess(unit, *open.value, model, options);
      shortened += test::has(with.recheck.because, "shortened: The ") ? 1U : 0U;
      CHECK(without.recheck.because == with.recheck.because);
      if (to_text(without, {}) != to_text(with, {}) && ++differ < 6) {
        CHECK(to_text(without, {}) == to_text(with, {}));
      }
    }
  }
  CHECK(differ == 0);
  CHECK(shortened > 0);
}

TEST_CASE("the owner's form warns of the same, whatever its cautions are called") {
  const Grader grader(other().knowledge);
  for (const bool buying : {false, true}) {
    const FormFor reader = buying ? FormFor::buyer : FormFor::owner;
    const Form form = make_form(test::shipped_grader(), reader);
    CHECK(form.cautions.size() == 4);
    CHECK(make_form(grader, reader).cautions == form.cautions);
    CHECK(blank_text(make_form(grader, reader)) == blank_text(form));
  }
}

}  // namespace
}  // namespace dryshaft
