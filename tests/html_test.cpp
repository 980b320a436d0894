// Pages: what stands in them is what the model says, and nothing else runs.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <regex>
#include <set>

#include "base/sha256.hpp"
#include "dryshaft/report.hpp"
#include "report/markup.hpp"
#include "report/render.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using test::count_of;
using test::dry_and;
using test::record_text;
using test::report_on;

std::string between(std::string_view text, std::string_view from, std::string_view to) {
  const std::size_t a = text.find(from);
  REQUIRE(a != std::string_view::npos);
  const std::size_t b = text.find(to, a + from.size());
  REQUIRE(b != std::string_view::npos);
  return std::string(text.substr(a + from.size(), b - a - from.size()));
}

// Reads HTML as it is written here: each attribute in double quotes. Gives the names of all
// attributes, and what is wrong: elements not closed, or a "<" that begins no such tag.
struct Tags {
  std::set<std::string> attributes;
  std::vector<std::string> wrong;
};
Tags tags_of(const std::string& html) {
  static const std::regex kTag(
      R"re(<(/?)([a-z][a-z0-9]*)((?:\s+[a-zA-Z0-9-]+(?:="[^"<>]*")?)*)/?>)re");
  static const std::regex kName(R"re(\s([a-zA-Z0-9-]+)(?:="[^"<>]*")?)re");
  static const std::set<std::string> kAlone = {"circle",  "img",      "line", "path",
                                               "polygon", "polyline", "rect"};
  Tags tags;
  std::vector<std::string> open;
  std::size_t read = 0;
  const auto text_only = [&](std::size_t to) {
    if (html.substr(read, to - read).find_first_of("<>") != std::string::npos) {
      tags.wrong.push_back(html.substr(read, to - read));
    }
  };
  for (std::sregex_iterator i(html.begin(), html.end(), kTag), end; i != end; ++i) {
    text_only(static_cast<std::size_t>(i->position()));
    read = static_cast<std::size_t>(i->position() + i->length());
    const std::string name = (*i)[2];
    const std::string attributes = (*i)[3];
    for (std::sregex_iterator a(attributes.begin(), attributes.end(), kName); a != end; ++a) {
      tags.attributes.insert((*a)[1]);
    }
    if ((*i)[1].length() != 0) {
      if (open.empty() || open.back() != name) {
        tags.wrong.push_back("/" + name);
      } else {
        open.pop_back();
      }
    } else if (!kAlone.contains(name)) {
      open.push_back(name);
    }
  }
  text_only(html.size());
  tags.wrong.insert(tags.wrong.end(), open.begin(), open.end());
  return tags;
}

const std::set<std::string> kAttributes = {
    "alt",   "aria-hidden", "aria-label", "class",  "cx",    "cy",    "d",        "data-choose",
    "src",   "data-head",   "data-order", "height", "r",     "start", "hidden",   "href",
    "id",    "points",      "role",       "rx",     "scope", "style", "tabindex", "viewBox",
    "width", "x",           "x1",         "x2",     "y",     "y1",    "y2",       "text-anchor"};

void check_tags(const std::string& html) {
  const Tags tags = tags_of(html);
  CHECK(tags.wrong == std::vector<std::string>());
  for (const std::string& name : tags.attributes) {
    INFO(name);
    CHECK(kAttributes.contains(name));
  }
}

Batch yard() {
  Batch batch;
  batch.reports = {report_on(record_text(R"("odometer_km":90000,"rotation":"seized")")),
                   report_on(record_text(dry_and(R"("odometer_km":90000)"))),
                   report_on(record_text(R"("odometer_km":90000)"))};
  batch.reports[0].unit_id = "HL-0001";
  batch.reports[1].unit_id = "HL-0002";
  batch.reports[2].unit_id = "HL-0003";
  return batch;
}

constexpr std::string_view kAttacks[] = {
    "</script><script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "\" onmouseover=\"alert(1)",
    "' onfocus='alert(1)",
    "<!--<script>",
    "]]></title><svg/onload=alert(1)>",
    "\\u003cscript>",
    "&lt;b&gt;",
};

Report attacked(std::string_view with) {
  Report r = report_on(record_text(R"("odometer_km":90000,"rotation":"seized")"));
  const std::string text(with);
  r.unit_id = r.vehicle = r.note = r.source = r.headline = r.family_title = r.by = text;
  r.warnings = {text};
  r.contradictions = {{text, text}};
  r.observed.front().shown = text;
  r.causes.front().title = text;
  r.history.earlier = {{text, 1000.0, Grade::A, 0.1}};
  r.history.events = {{"unit-fitted", text, 500.0, text}};
  r.history.compared = {{text, "last-inspection", Grade::A, {}, 0.5, "x", text}};
  return r;
}

TEST_CASE("text that HTML shows as it stands", "[html]") {
  CHECK(markup::escaped("a <b> & \"c\" 'd'") == "a &lt;b&gt; &amp; &quot;c&quot; &#39;d&#39;");
  CHECK(markup::escaped_content("a <b> & \"c\"") == "a &lt;b&gt; &amp; \"c\"");
  CHECK(markup::escaped("line\nline\x1b[2J") == "line line\xEF\xBF\xBD[2J");
}

TEST_CASE("JSON in a script element stays JSON and cannot end it", "[html]") {
  for (const std::string_view attack : kAttacks) {
    const nlohmann::json value = {{"a", attack}};
    const std::string text = markup::in_script(value.dump());
    CHECK(nlohmann::json::parse(text) == value);
    for (const std::string_view never : {"</", "<!", "<s", "<S"}) {
      CHECK(text.find(never) == std::string::npos);
    }
  }
  CHECK(markup::in_script("\"<") == "\"<");
}

TEST_CASE("a page runs only the script whose hash it names", "[html]") {
  const std::string page = to_html(yard(), Units::km, false);
  const std::string script = between(page, "</script>\n<script>", "</script>");
  CHECK(between(page, "script-src '", "'") == "sha256-" + sha256_base64(script));
  CHECK(page.find("default-src 'none'") != std::string::npos);
  const std::string one = to_html(yard().reports.front(), Units::km);
  CHECK(between(one, "script-src ", ";") == "'none'");
  CHECK(one.find("<script") == std::string::npos);
  for (const std::string_view outside : {"http", "@import", "url(", "src="}) {
    CHECK(one.find(outside, one.find("<title>")) == std::string::npos);
    CHECK(page.find(outside, page.find("<title>")) == std::string::npos);
  }
}

TEST_CASE("every string of a record is text in a page", "[html]") {
  for (const std::string_view attack : kAttacks) {
    INFO(attack);
    const Report r = attacked(attack);
    const std::string body = between(to_html(r, Units::km), "<body>", "</body>");
    check_tags(body);
    CHECK(count_of(body, markup::escaped(attack)) >= 9);
    Batch batch;
    batch.reports = {r};
    batch.rejected.push_back({});
    batch.rejected.front().message = batch.rejected.front().source = attack;
    batch.rejected_records = 1;
    for (const bool full : {false, true}) {
      const std::string page = to_html(batch, Units::km, full);
      check_tags(between(page, "<body>", "<script type="));
      CHECK(count_of(page, "<script") == 2);
      CHECK(count_of(page, "</script") == 2);
    }
  }
}

TEST_CASE("a page says what the text says", "[html]") {
  const Report r = report_on(
      record_text(dry_and(R"("odometer_km":90000)"), R"("seal_renewed_odometer_km":40000)",
                  "2024-03-02") +
      record_text(
          R"("odometer_km":101000,"port":{"checked":true,"fluid":"film","fluid_kind":"coolant"})",
          "", "2025-03-02"));
  const std::string page = to_html(r, Units::km);
  const std::string body = between(page, "<body>", "</body>");
  check_tags(body);
  CHECK(between(page, "<title>", "</title>") == "HL-0147: grade C");
  std::string plain = std::regex_replace(body, std::regex("<[^>]*>"), " ");
  const auto has = [&](std::string text) {
    INFO(text);
    std::string wanted = markup::escaped(text);
    std::string flat;
    for (std::size_t i = 0; i < plain.size(); ++i) {
      if (plain.compare(i, 2, "\xC2\xA0") == 0) {
        flat += ' ';
        ++i;
      } else {
        flat += plain[i];
      }
    }
    CHECK(flat.find(wanted) != std::string::npos);
  };
  has(r.note);
  for (const Action& a : r.actions) {
    has(a.text.substr(1, a.text.size() - 2));
    has(a.because.substr(1, a.because.size() - 2));
  }
  for (const Caution& c : r.cautions) {
    has(c.text.substr(1, c.text.size() - 2));
  }
  for (const CauseReport& c : r.causes) {
    has(c.title);
    for (const Evidence& e : c.for_it) {
      has(std::string(e.shown));
    }
  }
  for (const WouldChange& w : r.would_change) {
    has(w.shown);
  }
  // Cautions stand before the advice.
  CHECK(body.find("class=\"care\"") < body.find("<ol>"));
  // The picture has its words, and the words have a table.
  CHECK(between(body, "aria-label=\"Life of the drive unit over distance. ", "\"") ==
        "2024-03-02, 90,000 km: dry, grade A, chance of a leak 2 % before it and under 1 % "
        "after it. 2025-03-02, 101,000 km: film, grade C, chance of a leak 1 % before it and "
        "96 % after it. Work 1: 40,000 km: rotor shaft seal replaced. Recheck: 102,500 km.");
  CHECK(count_of(body, "class=\"at-grade ") == 2);
  CHECK(count_of(body, "class=\"event\"") == 2);  // the work, and the recheck
}

TEST_CASE("a timeline without odometer readings runs over time", "[html]") {
  const Report r = report_on(record_text(dry_and(""), "", "2024-03-02") +
                             record_text(dry_and(R"("odometer_km":101000)"), "", "2025-03-02"));
  const std::string body = to_html(r, Units::mi);
  CHECK(body.find("Life of the drive unit over time. 2024-03-02, -: dry, grade A. 2025-03-02, "
                  "62,758 mi: dry, grade A.") != std::string::npos);
}

TEST_CASE("a timeline of readings that are nearly equal ends", "[html]") {
  const auto record = [](std::string_view day, std::string_view odometer) {
    return record_text("\"odometer_km\":" + std::string(odometer), "", day);
  };
  const std::string page = to_html(
      report_on(record("2026-03-01", "100000") + record("2026-03-02", "100000.00000000001")),
      Units::km);
  CHECK(count_of(page, "class=\"tick\"") <= 8);
  CHECK(count_of(page, "class=\"tip\"") == 5);  // three of them in the key
}

TEST_CASE("a yard's page holds each report once, part by part", "[html]") {
  const Batch batch = yard();
  const std::string page = to_html(batch, Units::km, false);
  const nlohmann::json data = nlohmann::json::parse(between(page, "id=\"data\">", "</script>"));
  REQUIRE(data["reports"].size() == 3);
  for (std::size_t i = 0; i < 3; ++i) {
    std::string report;
    for (const nlohmann::json& part : data["reports"][i]) {
      report += data["parts"][part.get<std::size_t>()].get<std::string>();
    }
    // The same bytes as the page of this unit alone.
    CHECK("\n" + report == between(to_html(batch.reports[i], Units::km), "<main>", "</main>"));
  }
  std::set<std::string> parts;
  for (const nlohmann::json& part : data["parts"]) {
    CHECK(parts.insert(part.get<std::string>()).second);
    check_tags(part.get<std::string>());
  }
  for (int i = 1; i <= 3; ++i) {
    CHECK(page.find("<a href=\"#unit-" + std::to_string(i) + "\">HL-000" + std::to_string(i)) !=
          std::string::npos);
  }
  CHECK(count_of(page, "<article") == 0);
  CHECK(count_of(to_html(batch, Units::km, true), "<article") == 3);
  check_tags(between(to_html({}, Units::km, false), "<body>", "<script type="));
}

}  // namespace
}  // namespace dryshaft
