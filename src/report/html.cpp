#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>
#include <unordered_map>
#include <utility>
#include <variant>
#include <vector>

#include "base/base64.hpp"
#include "base/json_out.hpp"
#include "base/sentence.hpp"
#include "drawings/drawings.hpp"
#include "dryshaft/report.hpp"
#include "report/document.hpp"
#include "report/life_line.hpp"
#include "report/markup.hpp"
#include "report/render.hpp"
#include "report/words.hpp"

namespace dryshaft::document {
namespace {

// Text made safe, in which no line breaks between a number and its unit.
std::string html_text(std::string_view text) {
  std::string out = markup::escaped(text);
  static constexpr std::string_view kUnits[] = {" %", " km", " mi", " dB", " days", " V"};
  for (std::size_t at = out.find(' '); at != std::string::npos; at = out.find(' ', at + 1)) {
    const bool number = at > 0 && out[at - 1] >= '0' && out[at - 1] <= '9';
    const std::string_view rest = std::string_view(out).substr(at);
    if (number && std::ranges::any_of(kUnits, [&](auto u) { return rest.starts_with(u); })) {
      out.replace(at, 1, "\u00A0");
    }
  }
  return out;
}

// Blocks as HTML, in parts that stand by themselves: a list or a run of bars is one part.
class Html {
 public:
  explicit Html(std::string_view part = {}) : part_(part) {}

  std::vector<std::string> render(const Document& document) {
    for (std::size_t i = 0; i < document.size(); ++i) {
      const bool starts = i == 0 || document[i].index() != document[i - 1].index();
      const bool ends = i + 1 == document.size() || document[i + 1].index() != document[i].index();
      std::visit([&](const auto& b) { this->put(b, starts, ends); }, document[i]);
      if (ends || !runs_on(document[i])) {
        parts_.push_back(std::move(out_));
        out_.clear();
      }
    }
    return std::exchange(parts_, {});
  }

  // Sections that open, each a part.
  std::vector<std::string> render_folded(const Document& document) {
    std::vector<std::string> sections;
    for (auto at = document.begin(); at != document.end();) {
      const auto end = std::find_if(std::next(at), document.end(), [](const Block& b) {
        return std::holds_alternative<Heading>(b);
      });
      const std::vector<std::string> parts = render(Document(at, end));
      std::string& section = sections.emplace_back("<details>\n");
      for (const std::string& part : parts) {
        section += &part == &parts.front() ? fmt::format("<summary>{}</summary>\n", part) : part;
      }
      section += "</details>\n";
      at = end;
    }
    return sections;
  }

 private:
  static bool runs_on(const Block& block) {
    return std::holds_alternative<document::Item>(block) || std::holds_alternative<Care>(block) ||
           std::holds_alternative<Bar>(block) || std::holds_alternative<Entry>(block) ||
           std::holds_alternative<Drawn>(block);
  }

  template <typename... Args>
  void add(fmt::format_string<Args...> format, Args&&... args) {
    fmt::format_to(std::back_inserter(out_), format, std::forward<Args>(args)...);
  }

  static int percent_of(double share) {
    return std::isfinite(share) ? static_cast<int>(std::lround(std::clamp(share, 0.0, 1.0) * 100))
                                : 0;
  }

  void put(const Title& title, bool /*starts*/, bool /*ends*/) {
    add("<h1>");
    // A date does not break at its hyphens, nor a number before its unit.
    constexpr std::size_t kShort = 24;
    for (std::string_view rest = title.text; !rest.empty();) {
      const std::string_view part = rest.substr(0, rest.find(", "));
      rest.remove_prefix(std::min(part.size() + 2, rest.size()));
      add("<span{}>{}</span>{}", part.size() <= kShort ? " class=\"whole\"" : "", html_text(part),
          rest.empty() ? "" : ", ");
    }
    add("</h1>\n");
    if (!title.below.empty()) {
      add("<p class=\"quiet\">{}</p>\n", html_text(title.below));
    }
  }

  void put(const Heading& heading, bool /*starts*/, bool /*ends*/) {
    heading_ = part_.empty() ? heading.text : fmt::format("{}, {}", heading.text, part_);
    regions_ = 0;
    add("<h2>{}</h2>\n", html_text(heading.text));
  }

  void put(const Paragraph& paragraph, bool /*starts*/, bool /*ends*/) {
    add("<p>{}</p>\n", html_text(paragraph.text));
  }

  void put(const Lead& lead, bool /*starts*/, bool /*ends*/) {
    if (lead.urgency) {
      add("<p class=\"band {}\"><strong>{}.</strong> {}</p>\n", name(*lead.urgency),
          html_text(lead.label), html_text(lead.text));
    } else if (lead.grade) {
      add("<p class=\"grade\"><span class=\"badge {0}\" aria-hidden=\"true\">{0}</span>"
          "<span><strong>{1}.</strong> {2}</span></p>\n",
          name(*lead.grade), html_text(lead.label), html_text(lead.text));
      scale(*lead.grade);
    } else {
      add("<p><strong>{}.</strong> {}</p>\n", html_text(lead.label), html_text(lead.text));
    }
    if (lead.share) {
      dots(*lead.share);
    }
  }

  // So many of a hundred, as many as the sentence beside it says.
  void dots(double share) {
    constexpr int kRows = 5;
    constexpr int kColumns = 20;
    constexpr int kApart = 14;
    const auto filled = static_cast<int>(std::lround(share * kRows * kColumns));
    add("<svg class=\"dots\" viewBox=\"0 0 {} {}\" aria-hidden=\"true\">", kColumns * kApart,
        kRows * kApart);
    for (int i = 0; i < kRows * kColumns; ++i) {
      add("<circle{} cx=\"{}\" cy=\"{}\" r=\"5\"/>", i < filled ? " class=\"on\"" : "",
          i / kRows * kApart + kApart / 2, i % kRows * kApart + kApart / 2);
    }
    add("</svg>\n");
  }

  // Where the grade stands; U is a gap in knowledge, no step of it.
  void scale(Grade grade) {
    add("<p class=\"scale\" aria-hidden=\"true\">");
    for (const Grade g : {Grade::A, Grade::B, Grade::C, Grade::D}) {
      add("<span class=\"{}{}\">{}</span>", name(g), g == grade ? " here" : "", name(g));
    }
    add("{}</p>\n", grade == Grade::U ? "<span class=\"U here\">not known</span>" : "");
  }

  void put(const Care& care, bool starts, bool ends) {
    add("{}<li>{}</li>\n{}", starts ? "<ul class=\"care\">\n" : "", html_text(care.text),
        ends ? "</ul>\n" : "");
  }

  void put(const document::Item& item, bool starts, bool ends) {
    const std::string_view list = item.number == 0 ? "ul" : "ol";
    if (starts) {
      add("<{}{}>\n", list,
          item.number > 1 ? fmt::format(" start=\"{}\"", item.number) : std::string());
    }
    add("<li>{}", html_text(item.text));
    if (!item.below.empty()) {
      add("<ul>");
      for (const std::string& below : item.below) {
        add("<li>{}</li>", html_text(below));
      }
      add("</ul>");
    }
    add("</li>\n");
    if (ends) {
      add("</{}>\n", list);
    }
  }

  void put(const Bar& bar, bool starts, bool ends) {
    if (starts) {
      constexpr std::size_t kGradeLong = 2;
      add("<ul class=\"bars{}\">\n", bar.label.size() > kGradeLong ? " named" : "");
    }
    add("<li><strong{}>{}</strong><span class=\"right\">{}</span>"
        "<span class=\"bar\" aria-hidden=\"true\"><span "
        "style=\"{}width:{}%\"></span></span></li>\n",
        bar.grade ? fmt::format(" class=\"{}\"", name(*bar.grade)) : std::string(),
        html_text(bar.label), html_text(bar.amount),
        bar.from > 0 ? fmt::format("margin-left:{}%;", percent_of(bar.from)) : std::string(),
        percent_of(bar.share) - percent_of(bar.from));
    if (ends) {
      add("</ul>\n");
    }
  }

  void weights(const CauseLine& cause, bool leading) {
    add("<ul>\n");
    for (const CauseLine::Weight& w : cause.weights) {
      if (w.leading == leading) {
        add("<li><span>{}</span><span class=\"right\">{}</span><span>{} ({})</span></li>\n",
            w.speaks_for ? "for" : "against", html_text(w.decibels), html_text(w.shown),
            html_text(w.word));
      }
    }
    add("</ul>\n");
  }

  void put(const CauseLine& cause, bool /*starts*/, bool /*ends*/) {
    add("<div class=\"cause\"><p><strong>{}</strong> {}</p>\n"
        "<span class=\"bar\" aria-hidden=\"true\"><span style=\"width:{}%\"></span></span>\n",
        html_text(cause.probability), html_text(cause.title), percent_of(cause.share));
    const auto leading = std::ranges::count(cause.weights, true, &CauseLine::Weight::leading);
    if (leading > 0) {
      weights(cause, true);
    }
    const auto rest = static_cast<std::size_t>(std::ssize(cause.weights) - leading);
    if (rest > 0) {
      add("<details><summary>{}</summary>\n",
          words::count(rest, "weaker finding", "weaker findings"));
      weights(cause, false);
      add("</details>\n");
    }
    add("</div>\n");
  }

  void put(const Table& table, bool /*starts*/, bool /*ends*/) {
    add("<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"{}\">\n<table{}>\n"
        "<thead><tr>",
        region(), table.opens ? " id=\"units\"" : "");
    for (const Table::Column& c : table.columns) {
      add("<th scope=\"col\"{}{}{}>{}</th>", c.right ? " class=\"right\"" : "",
          c.order.empty() ? std::string() : fmt::format(" data-order=\"{}\"", html_text(c.order)),
          c.choose ? " data-choose" : "", html_text(c.head));
    }
    add("</tr></thead>\n<tbody>\n");
    std::size_t number = 0;
    for (const std::vector<std::string>& row : table.rows) {
      add("<tr>");
      for (std::size_t i = 0; i < row.size(); ++i) {
        cell(table, i, row[i], number);
      }
      add("</tr>\n");
      ++number;
    }
    add("</tbody>\n</table>\n</div>\n");
  }

  void cell(const Table& table, std::size_t column, const std::string& text, std::size_t number) {
    const Table::Column& c = table.columns[column];
    std::string shown = html_text(text);
    if (c.is_grade && !text.empty()) {
      shown = fmt::format("<span class=\"{}\">{}</span>", html_text(text.substr(0, 1)), shown);
    }
    // The column that names the unit leads to its report.
    if (table.opens && column == 1) {
      add("<th scope=\"row\"><a href=\"#unit-{}\">{}</a></th>", number + 1, shown);
      return;
    }
    add("<td{}{}>{}</td>", c.right ? " class=\"right\"" : "",
        table.opens ? fmt::format(" data-head=\"{}\"", html_text(c.head)) : std::string(), shown);
  }

  void put(const Verbatim& verbatim, bool /*starts*/, bool /*ends*/) {
    add("<pre tabindex=\"0\" role=\"region\" aria-label=\"{}\">", region());
    std::string_view rest = verbatim.text;
    while (!rest.empty()) {
      const std::size_t end = std::min(rest.find('\n'), rest.size());
      add("{}\n", markup::escaped_content(rest.substr(0, end)));
      rest.remove_prefix(std::min(end + 1, rest.size()));
    }
    add("</pre>\n");
  }

  // Boxes and room that can be filled in on a screen as well.
  void put(const Entry& entry, bool starts, bool ends) {
    if (starts) {
      add("<dl class=\"entries\">\n");
    }
    const std::string label = html_text(entry.label);
    add("<div><dt>{}</dt><dd", label);
    if (entry.field) {  // where a page that keeps what is written puts its own
      add(" data-field=\"{}\"", spec(*entry.field).pointer);
      if (entry.work != 0) {
        add(" data-work=\"{}\"", entry.work);
      }
      if (!entry.only.empty()) {
        add(" data-only=\"{}\"", entry.only);
      }
    }
    add(">");
    for (const std::string& choice : entry.choices) {
      add("<label><input type=\"checkbox\" aria-label=\"{}: {}\">{}</label>", label,
          html_text(choice), html_text(choice));
    }
    if (entry.choices.empty()) {
      add("<label><input type=\"text\" autocomplete=\"off\" aria-label=\"{}\">{}</label>", label,
          html_text(entry.unit));
    }
    add("</dd></div>\n");
    if (ends) {
      add("</dl>\n");
    }
  }

  void put(const Photograph& photo, bool /*starts*/, bool /*ends*/) {
    if (photo.bytes == nullptr) {
      add("<p class=\"quiet\">{}</p>\n", html_text(photo.caption));
      return;
    }
    add("<figure class=\"photo\">\n<img src=\"data:{};base64,{}\" alt=\"{}\">\n"
        "<figcaption class=\"quiet\">{}</figcaption>\n</figure>\n",
        media_type(photo.kind), to_base64(*photo.bytes), html_text(photo.text),
        html_text(photo.caption));
  }

  void put(const LifeLine& line, bool /*starts*/, bool /*ends*/) {
    add("<figure>\n{}", drawn(line));
    if (!line.done.empty()) {
      add("<figcaption class=\"quiet\"><ol>\n");
      for (const std::string& done : line.done) {
        add("<li>{}</li>\n", html_text(done));
      }
      add("</ol></figcaption>\n");
    }
    add("</figure>\n");
  }

  // Those beside each other make one row.
  void put(const Drawn& d, bool starts, bool ends) {
    add("{}<figure class=\"drawing\">\n{}<figcaption "
        "class=\"quiet\">{}</figcaption>\n</figure>\n{}",
        starts ? "<div class=\"drawings\">\n" : "", dryshaft::drawn(*d.drawing), d.drawing->title,
        ends ? "</div>\n" : "");
  }

  std::string_view part_;
  // What scrolls by itself is named by the heading that it stands under; no two have the same name.
  std::string region() {
    const std::string name = html_text(heading_);
    return ++regions_ == 1 ? name : fmt::format("{} ({})", name, regions_);
  }

  std::string heading_;
  std::size_t regions_ = 0;  // so far under that heading
  std::string out_;
  std::vector<std::string> parts_;
};

std::string joined(const std::vector<std::string>& parts) {
  std::string all;
  for (const std::string& part : parts) {
    all += part;
  }
  return all;
}

// The first screen, and sections that open. What is to be done first stands under the title.
std::vector<std::string> in_parts(const Report& report, Units units, std::string_view part = {}) {
  Description told = describe(report, units);
  const auto first = std::ranges::find_if(told.answer, [](const Block& b) {
    const Lead* lead = std::get_if<Lead>(&b);
    return lead != nullptr && lead->urgency;
  });
  if (first != told.answer.end()) {
    std::rotate(std::next(told.answer.begin()), first, std::next(first));
  }
  Html html(part);
  std::vector<std::string> parts = html.render(told.answer);
  std::ranges::move(html.render_folded(told.rest), std::back_inserter(parts));
  return parts;
}

}  // namespace

std::string in_html(const Document& document, std::string_view part) {
  return joined(Html(part).render(document));
}

}  // namespace dryshaft::document

namespace dryshaft {
namespace {

constexpr std::string_view kReportStyle =
#include "report/report.css.inc"
    ;
constexpr std::string_view kBatchStyle =
#include "report/batch.css.inc"
    ;
constexpr std::string_view kBatchScript =
#include "report/batch.js.inc"
    ;

}  // namespace

std::string to_html(const Report& report, Units units) {
  return markup::whole({.title = fmt::format("{}: grade {}", report.unit_id, name(report.grade)),
                        .style = std::string(kReportStyle),
                        .body = fmt::format("<main>\n{}</main>\n",
                                            document::joined(document::in_parts(report, units))),
                        .script = {},
                        .data = {}});
}

std::string to_html(const Sheet& sheet) {
  return markup::whole({.title = sheet.title, .style = sheet.style, .body = sheet.body});
}

std::string to_html(const Batch& batch, Units units, bool full) {
  // Reports share most of their parts (cautions, advice), so each part is kept once.
  std::vector<std::string> parts;
  std::unordered_map<std::string, std::size_t> known;
  nlohmann::json reports = nlohmann::json::array();
  std::string inline_reports;
  for (const Report& report : batch.reports) {
    std::vector<std::string> own = document::in_parts(report, units);
    if (full) {  // regions of each by its unit's name
      inline_reports +=
          fmt::format("<article class=\"one\">\n{}</article>\n",
                      document::joined(document::in_parts(report, units, report.unit_id)));
    }
    nlohmann::json& numbers = reports.emplace_back(nlohmann::json::array());
    for (std::string& part : own) {
      const auto [at, is_new] = known.emplace(std::move(part), parts.size());
      if (is_new) {
        parts.push_back(at->first);
      }
      numbers.push_back(at->second);
    }
  }
  const nlohmann::json data = {{"parts", std::move(parts)}, {"reports", std::move(reports)}};
  const std::string count = words::count(batch.reports.size() + batch.left_out, "unit", "units");
  return markup::whole(
      {.title = fmt::format("{} assessed", count),
       .style = fmt::format("{}{}", kReportStyle, kBatchStyle),
       .body = fmt::format("<main id=\"list\">\n{}{}</main>\n<main id=\"report\" hidden></main>\n",
                           document::in_html(document::describe(batch, units)), inline_reports),
       .script = std::string(kBatchScript),
       .data = json_out::of(data)});
}

}  // namespace dryshaft
