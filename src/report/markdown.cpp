#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <string_view>
#include <variant>

#include "dryshaft/report.hpp"
#include "report/document.hpp"
#include "report/layout.hpp"
#include "report/markup.hpp"
#include "report/render.hpp"

namespace dryshaft::document {
namespace {

bool is_digit(char c) { return c >= '0' && c <= '9'; }

// One line of text that Markdown (CommonMark and GitHub's additions) shows as
// it stands: no markup, no table cell, no HTML, no link, no mention.
std::string markdown_line(std::string_view raw) {
  std::string text = layout::clean(raw);
  text.erase(0, text.find_first_not_of(' '));
  text.erase(text.find_last_not_of(' ') + 1);
  const std::size_t digits =
      std::min(static_cast<std::size_t>(std::ranges::find_if_not(text, is_digit) - text.begin()),
               text.size());
  std::string out;
  out.reserve(text.size() + text.size() / 8);
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    switch (c) {
      case '&':
        out += "&amp;";
        continue;
      case '<':
        out += "&lt;";
        continue;
      case '>':
        out += "&gt;";
        continue;
      case '\\':
      case '`':
      case '*':
      case '_':
      case '{':
      case '}':
      case '[':
      case ']':
      case '#':
      case '|':
      case '~':
      case '!':
      case '$':
      case '@':
        out.push_back('\\');
        break;
      case '-':
      case '+':
      case '=':
        // Only at the beginning: a list item or the underline of a heading.
        if (i == 0) {
          out.push_back('\\');
        }
        break;
      case '.':
      case ')': {
        // "1." begins a list; "www." begins a link.
        const std::string_view before = std::string_view(text).substr(0, i);
        const bool link = c == '.' && i >= 3 && (before[i - 1] | 0x20) == 'w' &&
                          (before[i - 2] | 0x20) == 'w' && (before[i - 3] | 0x20) == 'w';
        const bool item = i > 0 && i == digits && (i + 1 == text.size() || text[i + 1] == ' ');
        if (item || link) {
          out.push_back('\\');
        }
        break;
      }
      case ':':
        if (std::string_view(text).substr(i).starts_with("://")) {
          out.push_back('\\');
        }
        break;
      default:
        break;
    }
    out.push_back(c);
  }
  return out;
}

class Markdown {
 public:
  std::string render(const Document& document) {
    for (const Block& block : document) {
      if (std::holds_alternative<Drawn>(block)) {
        continue;  // and a list goes on
      }
      const bool same = block.index() == last_;
      std::visit([&](const auto& b) { this->put(b, same); }, block);
      last_ = block.index();
    }
    return std::move(out_);
  }

 private:
  template <typename... Parts>
  void add(const Parts&... parts) {
    ((out_ += parts), ...);
    out_.push_back('\n');
  }

  void blank() {
    if (!out_.empty()) {
      out_.push_back('\n');
    }
  }

  void put(const Title& title, bool /*same*/) {
    blank();
    add("# ", markdown_line(title.text));
    if (!title.below.empty()) {
      blank();
      add(markdown_line(title.below));
    }
  }

  void put(const Heading& heading, bool /*same*/) {
    blank();
    add("## ", markdown_line(heading.text));
  }

  void put(const Paragraph& paragraph, bool /*same*/) {
    blank();
    add(markdown_line(paragraph.text));
  }

  void put(const Lead& lead, bool /*same*/) {
    blank();
    add("**", markdown_line(lead.label), ":** ", markdown_line(lead.text));
  }

  void put(const Care& care, bool same) {
    if (!same) {
      blank();
    }
    add("- **!** ", markdown_line(care.text));
  }

  void put(const Item& item, bool same) {
    if (!same) {
      blank();
    }
    const std::string mark = item.number == 0 ? "- " : fmt::format("{}. ", item.number);
    add(mark, markdown_line(item.text));
    for (const std::string& below : item.below) {
      add(std::string(mark.size(), ' '), "- ", markdown_line(below));
    }
  }

  void put(const Bar& bar, bool same) {
    if (bar.only_drawn) {
      return;
    }
    if (!same) {
      blank();
    }
    add("- ", markdown_line(bar.label), ": ", markdown_line(bar.amount));
  }

  void put(const CauseLine& cause, bool same) {
    if (!same) {
      blank();
      add("| probability | cause | evidence for | evidence against |");
      add("| ---: | --- | --- | --- |");
    }
    std::string sides[2];
    for (const CauseLine::Weight& w : cause.weights) {
      if (!w.leading) {
        continue;
      }
      std::string& side = sides[w.speaks_for ? 0 : 1];
      side += side.empty() ? "" : "; ";
      side += markdown_line(fmt::format("{} ({}, {})", w.shown, w.decibels, w.word));
    }
    add("| ", markdown_line(cause.probability), " | ", markdown_line(cause.title), " | ", sides[0],
        " | ", sides[1], " |");
  }

  void put(const Table& table, bool /*same*/) {
    blank();
    std::string head = "|";
    std::string rule = "|";
    for (const Table::Column& column : table.columns) {
      head += fmt::format(" {} |", markdown_line(column.head));
      rule += column.right ? " ---: |" : " --- |";
    }
    add(head);
    add(rule);
    for (const std::vector<std::string>& row : table.rows) {
      std::string line = "|";
      for (const std::string& cell : row) {
        line += fmt::format(" {} |", markdown_line(cell));
      }
      add(line);
    }
  }

  void put(const LifeLine& /*said in a table*/, bool /*same*/) {}

  void put(const Drawn& /*for pages alone*/, bool /*same*/) {}

  void put(const Photograph& photo, bool same) { put(Item{0, photo.caption, {}}, same); }

  void put(const Entry& entry, bool same) {
    if (!same) {
      blank();
    }
    std::string line = fmt::format("- {}:", markdown_line(entry.label));
    for (const std::string& choice : entry.choices) {
      line += fmt::format(" \u2610 {}", markdown_line(choice));
    }
    if (entry.choices.empty()) {
      line += " ....................";
      line += entry.unit.empty() ? "" : " " + markdown_line(entry.unit);
    }
    add(line);
  }

  // Inside <pre>, Markdown reads nothing until </pre>, which no escaped text can hold.
  void put(const Verbatim& verbatim, bool /*same*/) {
    blank();
    add("<pre>");
    std::string_view rest = verbatim.text;
    while (!rest.empty()) {
      const std::size_t end = std::min(rest.find('\n'), rest.size());
      add(markup::escaped_content(rest.substr(0, end)));
      rest.remove_prefix(std::min(end + 1, rest.size()));
    }
    add("</pre>");
  }

  std::string out_;
  std::size_t last_ = std::variant_npos;
};

}  // namespace

std::string in_markdown(const Document& document) { return Markdown().render(document); }

}  // namespace dryshaft::document

namespace dryshaft {

std::string to_markdown(const Report& report, Units units, bool full) {
  return document::in_markdown(document::describe(report, units, full)) +
         (full ? ""
               : "\n" + document::in_markdown(
                            {document::Paragraph{document::small_print(report, true)}}));
}

std::string to_markdown(const Batch& batch, Units units) {
  return document::in_markdown(document::describe(batch, units));
}

}  // namespace dryshaft
