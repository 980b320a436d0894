// Strings of a record, of data and of file names in every writer: they stay text, whatever stands
// in them.
#include <algorithm>
#include <cctype>
#include <nlohmann/json.hpp>
#include <set>

#include "dryshaft/form.hpp"
#include "dryshaft/guide.hpp"
#include "dryshaft/onset.hpp"
#include "dryshaft/outcomes.hpp"
#include "dryshaft/plan.hpp"
#include "dryshaft/report.hpp"
#include "fuzz/fuzz.hpp"
#include "fuzz/shipped_work.hpp"
#include "noise_samples.hpp"
#include "report/layout.hpp"
#include "report/markup.hpp"
#include "support.hpp"

namespace {

using dryshaft::Report;
using dryshaft::Units;
using dryshaft::fuzz::require;
using dryshaft::fuzz::shipped_work;
using dryshaft::test::shipped;
using dryshaft::test::shipped_grader;
using dryshaft::test::shipped_model;
using nlohmann::json;

// ---------------------------------------------------------------- tags

std::size_t find_ignoring_case(std::string_view text, std::string_view what, std::size_t from) {
  const auto same = [](char a, char b) { return std::tolower(static_cast<unsigned char>(a)) == b; };
  const auto found = std::search(text.begin() + static_cast<std::ptrdiff_t>(from), text.end(),
                                 what.begin(), what.end(), same);
  return static_cast<std::size_t>(found - text.begin());
}

// Every kind of tag in HTML, with the values of its attributes taken out: what a browser makes
// elements of. What stands in scripts is none.
void tags_of(std::string_view html, std::set<std::string>& tags) {
  for (std::size_t at = html.find('<'); at < html.size(); at = html.find('<', at)) {
    std::string tag;
    bool quoted = false;
    for (; at < html.size() && (quoted || html[at] != '>'); ++at) {
      quoted = html[at] == '"' ? !quoted : quoted;
      if (!quoted) {
        tag += html[at];
      }
    }
    require(at < html.size(), "a tag ends");
    if (tag.starts_with("<script")) {
      const std::size_t end = find_ignoring_case(html, "</script", at);
      require(end < html.size(), "a script ends");
      const std::string_view inside = html.substr(at + 1, end - at - 1);
      if (tag.find("type=") != std::string::npos) {
        // or the library, in base64
        const bool encoded = std::all_of(inside.begin(), inside.end(), [](unsigned char c) {
          return std::isalnum(c) != 0 || c == '+' || c == '/' || c == '=';
        });
        require(encoded || json::accept(inside), "data are JSON, to the end of their element");
        require(find_ignoring_case(inside, "<!--", 0) == inside.size() &&
                    find_ignoring_case(inside, "<script", 0) == inside.size(),
                "data open nothing");
      }
      at = end;
    } else if (tag.starts_with("<style")) {
      at = find_ignoring_case(html, "</style", at);
    }
    tags.insert(std::move(tag));
  }
}

// -------------------------------------------------------------- writers

// A record that holds `word` wherever a record can hold any text.
std::string record_with(const std::string& word) {
  return json({{"format", "dryshaft-record/1"},
               {"unit", {{"id", word}, {"vehicle", word}}},
               {"inspection", {{"date", "2026-03-01"}, {"odometer_km", 150000}}},
               {"note", word},
               {"x_" + word, word}})
      .dump();
}

dryshaft::Result<dryshaft::Record> read_with(const std::string& word, const std::string& file) {
  return dryshaft::read_record(record_with(word), file, 1, 1, {});
}

dryshaft::History history_with(const std::string& word, const std::string& file) {
  auto read = read_with(word, file);
  require(read.value.has_value(), "the record is good");
  return {.unit_id = word, .records = {std::move(*read.value)}, .refused = {0}};
}

// Complaints that hold the word as a key, as a value, and as the name of a file.
std::vector<dryshaft::Diagnostic> complaints_with(const std::string& word,
                                                  const std::string& file) {
  const json bad = {{"format", word},
                    {"unit", {{"id", 1}, {word, word}}},
                    {"inspection", {{"date", word}, {"by", word}}}};
  return dryshaft::read_record(bad.dump(), file, 1, 1, {}).diagnostics;
}

const dryshaft::History& plain_history() {
  static const dryshaft::History kHistory = history_with("HL-1", "r.json");
  return kHistory;
}
// Any price does: what they are is not looked at here.
const dryshaft::PriceBook& prices() {
  static const dryshaft::PriceBook kAnyPrices = [] {
    dryshaft::PriceBook book;
    book.price.fill({.low = 90, .likely = 100, .high = 120});
    return book;
  }();
  return kAnyPrices;
}

std::string plan_page(const std::string& word, const std::string& file, const Report& report) {
  static const dryshaft::Plan kPlan =
      dryshaft::make_plan(plain_history(), shipped_grader(), shipped_work(), prices(),
                          {.today = std::nullopt, .swings = false});
  dryshaft::Plan plan = kPlan;
  plan.report = report;
  plan.currency = word;
  plan.prices_source = file;
  return dryshaft::plans_to_html({plan, plan}, Units::km);
}

std::string yard_page(const std::string& word, const std::string& file, const Report& report) {
  static const dryshaft::Yard kYard =
      dryshaft::make_yard({plain_history()}, shipped_grader(), shipped_work(), prices(),
                          {.hours = 40, .money = std::nullopt, .today = std::nullopt});
  dryshaft::Yard yard = kYard;
  yard.units[0].report = report;
  yard.currency = word;
  yard.rejected = complaints_with(word, file);
  yard.rejected_records = 1;
  return dryshaft::yard_to_html(yard, Units::km);
}

std::string batch_page(const std::string& word, const std::string& file, const Report& report) {
  dryshaft::Batch batch;
  batch.reports = {report};
  batch.rejected = complaints_with(word, file);
  batch.rejected_records = 1;
  return dryshaft::to_html(batch, Units::mi, true);
}

std::string onset_page(const std::string& word, const std::string& file) {
  static const dryshaft::OnsetReport kReport = [] {
    const auto read = dryshaft::read_onset_table(
        "left,right,group\n0,9,a\n5,20,a\n8,inf,a\n3,12,b\n9,30,b\n20,inf,b\n", "t",
        dryshaft::OnsetAxis::plain, "group");
    dryshaft::OnsetOptions options;
    options.resamples = 10;
    return dryshaft::fit_onset(*read.value, options, {});
  }();
  dryshaft::OnsetReport report = kReport;
  report.data.by = word;
  for (auto& interval : report.data.intervals) {
    interval.unit = word;
    interval.source = file;
    interval.group = word + interval.group;
  }
  for (auto& regression : report.regressions) {
    for (auto& group : regression.groups) {
      group.name = word + group.name;
    }
  }
  report.data.left_out.push_back({.what = "unit",
                                  .id = "factory-dry",
                                  .reason = "has a dry rotor",
                                  .unit = word,
                                  .source = file,
                                  .line = 1});
  return dryshaft::onset_to_html({.sources = {file, word},
                                  .rules_id = word,
                                  .rules_version = word,
                                  .rules_sha256 = "0",
                                  .families_sha256 = "",
                                  .prior_source = word,
                                  .cautions = {{"c", word}},
                                  .report = std::move(report)});
}

std::string outcomes_page(const std::string& word, const std::string& file) {
  static const dryshaft::Outcomes kOutcomes = [] {
    dryshaft::Openings openings;
    for (int i = 0; i < 6; ++i) {
      openings.openings.push_back({.unit_id = std::to_string(i),
                                   .date = i,
                                   .source = "r",
                                   .line = 1,
                                   .record_sha256 = {},
                                   .facts = dryshaft::empty_case(),
                                   .examined = 0x3F,
                                   .found = i % 2U});
    }
    return dryshaft::study_outcomes(openings, shipped(), {});
  }();
  dryshaft::Outcomes outcomes = kOutcomes;
  outcomes.rules_id = word;
  outcomes.rules_version = word;
  outcomes.rules_overlay = {.name = file, .sha256 = "0", .teardowns = 1, .rules = 1};
  outcomes.overlay_file = file;
  outcomes.limits.push_back(word);
  return dryshaft::outcomes_to_html(outcomes);
}

std::string noise_page(const std::string& word, const std::string& file) {
  dryshaft::NoiseSheet sheet = dryshaft::test::rich_sheet();
  sheet.source = file;
  sheet.held_against = word;
  sheet.report.limits.push_back(word);
  for (auto* list : {&sheet.report.named, &sheet.report.considered}) {
    for (dryshaft::Attribution& a : *list) {
      a.part = word;
    }
  }
  for (dryshaft::NoiseLine& line : sheet.report.lines) {
    line.fits = word;
  }
  return dryshaft::noise_to_html(std::span(&sheet, 1));
}

// A family, a vehicle and an access to the port that a shop named itself.
std::pair<dryshaft::Knowledge, dryshaft::Guides> data_with(const std::string& word) {
  static const dryshaft::Guides kGuides =
      *dryshaft::load_guides(dryshaft::test::shipped_guides(), {},
                             dryshaft::test::shipped_families(), shipped())
           .value;
  std::pair<dryshaft::Knowledge, dryshaft::Guides> data = {shipped(), kGuides};
  for (dryshaft::Family& family : data.first.families) {
    family.title = word;
    for (dryshaft::VehicleProfile& vehicle : family.vehicles) {
      vehicle.id = word + vehicle.id;
    }
  }
  for (dryshaft::CautionRule& caution : data.first.cautions) {
    caution.text = caution.owner_text = word;
  }
  for (dryshaft::AccessKind& access : data.second.common.access) {
    access.title = access.find = word;
  }
  for (dryshaft::Procedure& procedure : data.second.common.procedures) {
    procedure.title = procedure.who = word;
    for (dryshaft::GuideStep& step : procedure.steps) {
      step.text = step.why = word;
    }
  }
  return data;
}

// What a value in braces stands for is known; others are refused when guides are loaded.
std::string without_braces(std::string word) {
  std::ranges::replace(word, '{', '(');
  std::ranges::replace(word, '}', ')');
  return word;
}

struct Written {
  Report report;
  std::vector<std::string> pages;
};
constexpr std::size_t kBatchPage = 1;

Written written_with(const std::string& word, const std::string& file) {
  const dryshaft::History history = history_with(word, file);
  Written written = {.report = dryshaft::assess(history, shipped(), shipped_model(), {}),
                     .pages = {}};
  const Report& report = written.report;
  std::vector<std::string>& pages = written.pages;
  pages.push_back(dryshaft::to_html(report, Units::km));
  pages.push_back(batch_page(word, file, report));
  pages.push_back(plan_page(word, file, report));
  pages.push_back(yard_page(word, file, report));
  pages.push_back(dryshaft::to_html(dryshaft::job_sheet(history, shipped_grader(), shipped_work(),
                                                        {.option = "open-and-rebuild"})));
  pages.push_back(onset_page(word, file));
  pages.push_back(outcomes_page(word, file));
  pages.push_back(noise_page(word, file));
  const auto [knowledge, guides] = data_with(without_braces(word));
  pages.push_back(
      dryshaft::to_html(dryshaft::guide_sheet(guides, knowledge, {.family = "generic"})));
  const dryshaft::Grader grader(knowledge);
  pages.push_back(dryshaft::blank_html(dryshaft::make_form(grader, dryshaft::FormFor::owner), {}));
  return written;
}

// The same for every kind of page, and for what a page's script makes elements of.
std::set<std::string> tags_of(const std::vector<std::string>& pages) {
  std::set<std::string> tags;
  for (const std::string& page : pages) {
    tags_of(page, tags);
  }
  // Only the page of many reports does so.
  constexpr std::string_view kData = " id=\"data\">";
  const std::string_view batch = pages[kBatchPage];
  const std::size_t data = batch.find(kData) + kData.size();
  const json parts = json::parse(batch.substr(data, batch.find("</script", data) - data))["parts"];
  for (const json& part : parts) {
    tags_of(part.get_ref<const std::string&>(), tags);
  }
  return tags;
}

// Those of pages whose words are harmless; how long a word is may choose among them.
std::set<std::string> known_tags() {
  std::set<std::string> known;
  for (const char* word : {"HL-0147", "a b", "a long text, with; several marks (in it)", "ab"}) {
    known.merge(tags_of(written_with(word, word).pages));
  }
  return known;
}

std::string unescaped(std::string text) {
  for (const auto& [entity, mark] :
       {std::pair{"&lt;", '<'}, {"&gt;", '>'}, {"&quot;", '"'}, {"&#39;", '\''}, {"&amp;", '&'}}) {
    for (std::size_t at = text.find(entity); at != std::string::npos; at = text.find(entity, at)) {
      text.replace(at++, std::string_view(entity).size(), 1, mark);
    }
  }
  return text;
}

// No cell of a table begins as a formula does.
void check_row(const std::string& row) {
  bool begins = true;
  bool in_quotes = false;
  for (const char c : row) {
    if (!in_quotes && c == '\r') {
      break;
    }
    if (begins && c == '"') {
      in_quotes = true;
    } else if (begins) {
      require(std::string_view("=+@\t\r-").find(c) == std::string_view::npos,
              "no cell is a formula");
      begins = false;
    } else if (c == '"') {
      in_quotes = !in_quotes;
    }
    begins = !in_quotes && c == ',' ? true : begins && c == '"';
  }
}

}  // namespace

FUZZ_TARGET(pages) {
  // A unit's id has 64 characters at most, and a record is UTF-8; the name of a file may be
  // anything.
  std::string word;
  std::size_t at = 0;
  for (std::size_t n = 0; at < text.size() && n < 60; ++n) {
    const auto c = dryshaft::utf8::decode(text, at);
    word += c.valid ? text.substr(at, c.length) : "?";
    at += c.length;
  }
  if (!read_with(word, "r.json").value) {
    return;  // no name for a unit: blank, or the word "unknown"
  }
  const std::string file(text.substr(0, at));
  require(unescaped(dryshaft::markup::escaped(file)) == dryshaft::layout::clean(file),
          "what is escaped reads as it was");

  static const std::set<std::string> kKnown = known_tags();
  const auto [report, pages] = written_with(word, file);
  require(std::ranges::includes(kKnown, tags_of(pages)), "a text makes no element of a page");
  const std::string line = dryshaft::to_json(report);
  require(json::accept(line) && std::ranges::count(line, '\n') == 1,
          "a report is one line of JSON");
  dryshaft::fuzz::check_text(dryshaft::to_text(report, {}));
  dryshaft::fuzz::check_text(dryshaft::to_markdown(report, Units::km));
  check_row(dryshaft::to_csv(report));
}
