// Strings of a record in every writer: they stay text, whatever stands in them.
#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>

#include "dryshaft/report.hpp"
#include "fuzz/fuzz.hpp"
#include "support.hpp"

namespace {

using dryshaft::Report;
using nlohmann::json;

// A report on a record that holds `word` wherever a record or its file can hold any text.
Report report_with(const std::string& word) {
  json record = {{"format", "dryshaft-record/1"},
                 {"unit", {{"id", word}, {"vehicle", word}}},
                 {"inspection", {{"date", "2026-03-01"}, {"odometer_km", 150000}}},
                 {"note", word},
                 {"x_" + word, word}};
  auto read = dryshaft::read_record(record.dump(), word, 1, 1, {});
  dryshaft::fuzz::require(read.value.has_value(), "the record is good");
  dryshaft::History history{.unit_id = word, .records = {std::move(*read.value)}, .refused = {0}};
  return dryshaft::assess(history, dryshaft::test::shipped(), dryshaft::test::shipped_model(), {});
}

// Every kind of tag in a page, with the values of its attributes taken out: what a browser makes
// elements of.
std::set<std::string> tags_of(const std::string& page) {
  std::set<std::string> tags;
  std::string tag;
  bool quoted = false;
  for (const char c : page) {
    if (tag.empty()) {
      tag = c == '<' ? "<" : "";
      continue;
    }
    quoted = c == '"' ? !quoted : quoted;
    if (!quoted) {
      tag += c;
      if (c == '>') {
        tags.insert(std::move(tag));
        tag.clear();
      }
    }
  }
  return tags;
}

// Those of pages whose words are harmless; how long a word is may choose among them.
std::set<std::string> known_tags() {
  std::set<std::string> known;
  for (const char* word : {"HL-0147", "a b", "a long text, with; several marks (in it)", "ab"}) {
    known.merge(tags_of(to_html(report_with(word), dryshaft::Units::km)));
  }
  return known;
}

}  // namespace

FUZZ_TARGET(pages) {
  // A unit's id has 64 characters at most, and a record is UTF-8.
  std::string word;
  for (std::size_t at = 0, n = 0; at < text.size() && n < 60; ++n) {
    const auto c = dryshaft::utf8::decode(text, at);
    word += c.valid ? text.substr(at, c.length) : "?";
    at += c.length;
  }
  if (word.empty() || word == "unknown") {
    return;
  }
  const Report report = report_with(word);
  static const std::set<std::string> kKnown = known_tags();
  const std::set<std::string> tags = tags_of(dryshaft::to_html(report, dryshaft::Units::km));
  dryshaft::fuzz::require(std::ranges::includes(kKnown, tags), "a text makes no element of a page");
  const std::string line = dryshaft::to_json(report);
  dryshaft::fuzz::require(json::accept(line) && std::ranges::count(line, '\n') == 1,
                          "a report is one line of JSON");
  const std::string plain = dryshaft::to_text(report, {});
  dryshaft::fuzz::require(dryshaft::utf8::first_invalid(plain) == plain.size(), "text is UTF-8");
  for (std::size_t at = 0; at < plain.size();) {
    const auto c = dryshaft::utf8::decode(plain, at);
    dryshaft::fuzz::require(c.code == '\n' || !dryshaft::utf8::steers_terminal(c.code),
                            "text steers no terminal");
    at += c.length;
  }
  // No cell of a table begins as a formula does.
  const std::string row = dryshaft::to_csv(report);
  bool begins = true;
  bool in_quotes = false;
  for (const char c : row) {
    if (begins && c == '"') {
      in_quotes = true;
    } else if (begins) {
      dryshaft::fuzz::require(std::string_view("=+@\t\r-").find(c) == std::string_view::npos,
                              "no cell is a formula");
      begins = false;
    } else if (c == '"') {
      in_quotes = !in_quotes;
    }
    begins = !in_quotes && c == ',' ? true : begins && c == '"';
    if (!in_quotes && c == '\r') {
      break;
    }
  }
}
