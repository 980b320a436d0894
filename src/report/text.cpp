#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "dryshaft/report.hpp"
#include "report/document.hpp"
#include "report/layout.hpp"
#include "report/render.hpp"

namespace dryshaft::document {
namespace {

constexpr std::size_t kLeastWidth = 40;
constexpr std::size_t kIndent = 2;
// Below this the parts of a line stand under each other instead of in columns.
constexpr std::size_t kRoomForColumns = 70;
constexpr std::string_view kBold = "1";

// Select Graphic Rendition parameters (ECMA-48) of a grade.
std::string_view paint_of(Grade grade) {
  switch (grade) {
    case Grade::A:
      return "1;32";
    case Grade::B:
      return "1;36";
    case Grade::C:
      return "1;33";
    case Grade::D:
      return "1;31";
    case Grade::U:
      break;
  }
  return "1;35";
}

std::string bar(double share, std::size_t columns) {
  const double part = std::isfinite(share) ? std::clamp(share, 0.0, 1.0) : 0;
  const auto filled = static_cast<std::size_t>(std::lround(part * static_cast<double>(columns)));
  return std::string(filled, '#') + std::string(columns - filled, '.');
}

std::string spaces(std::size_t number) { return std::string(number, ' '); }

std::string padded(std::string_view text, std::size_t columns, bool right) {
  const std::size_t wide = layout::width(text);
  const std::string fill = spaces(columns > wide ? columns - wide : 0);
  return right ? fill + std::string(text) : std::string(text) + fill;
}

class Page {
 public:
  explicit Page(const TextStyle& style)
      : width_(std::max(style.width, kLeastWidth)),
        roomy_(width_ >= kRoomForColumns),
        colour_(style.colour) {}

  std::string render(const Document& document) {
    for (const Block& block : document) {
      if (std::holds_alternative<Drawn>(block)) {
        continue;  // and a list goes on
      }
      std::visit([this](const auto& b) { this->put(b); }, block);
      last_ = block.index();
    }
    return std::move(out_);
  }

 private:
  static constexpr std::size_t kNothing = std::variant_npos;

  template <typename B>
  [[nodiscard]] bool follows() const {
    return last_ == Block(B{}).index();
  }

  [[nodiscard]] std::string painted(std::string_view text, std::string_view paint) const {
    return colour_ && !paint.empty() && !text.empty()
               ? fmt::format("\x1b[{}m{}\x1b[0m", paint, text)
               : std::string(text);
  }

  void line(std::string_view text) {
    // No line ends in a space, whatever columns it was made of.
    const std::size_t end = text.find_last_not_of(' ');
    out_ += text.substr(0, end == std::string_view::npos ? 0 : end + 1);
    out_.push_back('\n');
  }

  void blank() {
    if (!out_.empty()) {
      out_.push_back('\n');
    }
  }

  // `label`, then `text` wrapped beside it from column `hang` on; below it
  // where the label leaves no room.
  void hanging(std::size_t indent, std::string_view label, std::string_view paint, std::size_t hang,
               std::string_view text) {
    const std::string shown = layout::clean(label);
    const std::size_t used = indent + layout::width(shown);
    hang = std::min(std::max(hang, indent), width_ / 2);
    std::vector<std::string> lines = layout::wrap(layout::clean(text), width_ - hang);
    const bool beside = shown.empty() || used < hang;
    std::string first = spaces(indent) + painted(shown, paint);
    if (!beside || lines.empty()) {
      line(first);
      first.clear();
    }
    for (const std::string& l : lines) {
      first += spaces(first.empty() ? hang : hang - used);
      first += l;
      line(first);
      first.clear();
    }
  }

  void whole(std::size_t indent, std::string_view text, std::string_view paint = {}) {
    for (const std::string& l : layout::wrap(layout::clean(text), width_ - indent)) {
      line(spaces(indent) + painted(l, paint));
    }
  }

  void put(const Title& title) {
    blank();
    whole(0, title.text, kBold);
    whole(0, title.below);
  }

  void put(const Heading& heading) {
    blank();
    whole(0, heading.text, kBold);
    indent_ = kIndent;
  }

  void put(const Paragraph& paragraph) {
    if (indent_ == 0) {
      blank();
    }
    whole(indent_, paragraph.text);
  }

  void put(const Lead& lead) {
    if (indent_ == 0 && !follows<Lead>()) {
      blank();
    }
    hanging(indent_, lead.label, lead.grade ? paint_of(*lead.grade) : kBold, indent_ + 10,
            lead.text);
  }

  void put(const Care& care) { hanging(indent_, "!", kBold, indent_ + 3, care.text); }

  void put(const Item& item) {
    const std::string mark = item.number == 0 ? "-" : fmt::format("{}.", item.number);
    const std::size_t hang = indent_ + std::max<std::size_t>(mark.size(), 1) + 1;
    hanging(indent_, mark, {}, hang, item.text);
    for (const std::string& below : item.below) {
      hanging(hang, {}, {}, hang, below);
    }
  }

  void put(const Bar& b) {
    if (b.only_drawn) {
      return;
    }
    line(fmt::format("{}{}  {}  {}", spaces(indent_),
                     painted(b.label, b.grade ? paint_of(*b.grade) : std::string_view()),
                     padded(b.amount, 5, true), bar(b.share, roomy_ ? 40 : 20)));
  }

  void put(const CauseLine& cause) {
    constexpr std::size_t kAmount = 9;  // "over 99 %"
    const std::string label = fmt::format("{}  {}", padded(cause.probability, kAmount, true),
                                          bar(cause.share, roomy_ ? 20 : 10));
    hanging(indent_, label, {}, indent_ + label.size() + 2, cause.title);
    const std::size_t in = indent_ + (roomy_ ? kAmount + 2 : 2);
    for (const CauseLine::Weight& w : cause.weights) {
      if (!w.leading) {
        continue;
      }
      const std::string_view side = w.speaks_for ? "for" : "against";
      const std::string text = fmt::format("{} ({})", w.shown, w.word);
      if (roomy_) {
        const std::string weight = fmt::format("{:<7} {:>8}", side, w.decibels);
        hanging(in, weight, {}, in + weight.size() + 2, text);
      } else {
        hanging(in, fmt::format("{} {}", side, w.decibels), {}, in + 2, text);
      }
    }
  }

  void put(const LifeLine& /*said in a table*/) {}

  void put(const Drawn& /*for pages alone*/) {}

  void put(const Photograph& photo) { put(Item{0, photo.caption, {}}); }

  void put(const Verbatim& verbatim) {
    std::vector<std::string_view> lines;
    for (std::string_view rest = verbatim.text; !rest.empty();) {
      const std::size_t end = std::min(rest.find('\n'), rest.size());
      lines.push_back(rest.substr(0, end));
      rest.remove_prefix(std::min(end + 1, rest.size()));
    }
    const auto is_caret = [&](std::size_t l) {
      return l < lines.size() && lines[l].ends_with('^') &&
             lines[l].find_first_not_of(' ') + 1 == lines[l].size();
    };
    for (std::size_t l = 0; l < lines.size(); ++l) {
      // A caret points into the line above it: neither is folded.
      if (is_caret(l) || is_caret(l + 1)) {
        line(layout::clean(lines[l]));
        continue;
      }
      const std::size_t indent = std::min(lines[l].find_first_not_of(' '), lines[l].size());
      const std::size_t hang = indent + kIndent;
      std::size_t at = indent;
      std::vector<std::string> folded =
          layout::wrap(layout::clean(lines[l].substr(indent)), width_ - hang);
      for (const std::string& part : folded) {
        line(spaces(at) + part);
        at = hang;
      }
    }
  }

  void put(const Entry& entry) {
    constexpr std::size_t kLabel = 32;
    constexpr std::string_view kRoom = "....................";
    const std::size_t hang = indent_ + (roomy_ ? kLabel : 4);
    constexpr std::string_view kBox = "[ ] ";
    // A box stays with its word: these lines are not wrapped as text is.
    std::vector<std::string> parts;
    for (const std::string& choice : entry.choices) {
      const std::vector<std::string> wrapped =
          layout::wrap(layout::clean(choice), width_ - hang - kBox.size());
      for (std::size_t l = 0; l < wrapped.size(); ++l) {
        parts.push_back((l == 0 ? std::string(kBox) : spaces(kBox.size())) + wrapped[l]);
      }
    }
    if (parts.empty()) {
      parts.push_back(
          fmt::format("{}{}{}", kRoom, entry.unit.empty() ? "" : " ", layout::clean(entry.unit)));
    }
    std::vector<std::string> labels = layout::wrap(layout::clean(entry.label), hang - indent_ - 2);
    if (!roomy_) {
      whole(indent_, entry.label);
      labels.clear();
    }
    std::size_t row = 0;
    std::string text;
    const auto flush = [&] {
      const std::string_view beside =
          row < labels.size() ? std::string_view(labels[row]) : std::string_view();
      line(spaces(indent_) + padded(beside, hang - indent_, false) + text);
      text.clear();
      ++row;
    };
    for (const std::string& part : parts) {
      if (!text.empty() && (part.starts_with(' ') ||
                            hang + layout::width(text) + 3 + layout::width(part) > width_)) {
        flush();
      }
      text += (text.empty() ? "" : "   ") + part;
    }
    while (!text.empty() || row < labels.size()) {
      flush();
    }
  }

  void put(const Table& table);
  bool draw(const Table& table, const std::vector<std::string>& below);
  void stacked(const Table& table);

  std::string out_;
  std::size_t width_;
  bool roomy_;
  bool colour_;
  std::size_t indent_ = 0;  // 0 until the first heading
  std::size_t last_ = kNothing;
};

// "grade D, shelf B3": what a row says, in the extra columns alone or in all but the first.
std::string in_words(const Table& table, const std::vector<std::string>& row, bool extra_alone) {
  std::string text;
  for (std::size_t c = 1; c < row.size(); ++c) {
    const Table::Column& column = table.columns[c];
    if (row[c] != "-" && !row[c].empty() && (column.extra || !extra_alone)) {
      text += text.empty() ? "" : ", ";
      text += column.speaks_for_itself ? row[c] : fmt::format("{} {}", column.head, row[c]);
    }
  }
  return text;
}

// Each row as a sentence, where there is no room for columns.
void Page::stacked(const Table& table) {
  for (const std::vector<std::string>& row : table.rows) {
    const std::string text = in_words(table, row, false);
    const std::string label =
        table.columns.front().right
            ? padded(layout::clean(row.front()), table.rows.back().front().size(), true)
            : row.front();
    hanging(indent_, label, {}, indent_ + layout::width(label) + 2, text);
  }
}

void Page::put(const Table& table) {
  if (draw(table, {})) {
    return;
  }
  Table narrow;
  std::ranges::copy_if(table.columns, std::back_inserter(narrow.columns),
                       [](const Table::Column& c) { return !c.extra; });
  std::vector<std::string> below;
  for (const std::vector<std::string>& row : table.rows) {
    below.push_back(in_words(table, row, true));
    std::vector<std::string>& kept = narrow.rows.emplace_back();
    for (std::size_t c = 0; c < row.size(); ++c) {
      if (!table.columns[c].extra) {
        kept.push_back(row[c]);
      }
    }
  }
  if (narrow.columns.size() == table.columns.size() || !draw(narrow, below)) {
    stacked(table);
  }
}

// In columns, with a line below each row; false where they find no room.
bool Page::draw(const Table& table, const std::vector<std::string>& below) {
  const std::size_t n = table.columns.size();
  std::vector<std::size_t> wide(n);
  std::vector<std::vector<std::string>> cells = table.rows;
  bool wraps = false;
  for (std::size_t c = 0; c < n; ++c) {
    wide[c] = layout::width(table.columns[c].head);
    wraps = wraps || table.columns[c].fit == Table::Fit::wrap;
    for (std::vector<std::string>& row : cells) {
      // Words to be cut are made clean when they are cut, so that words that
      // differ by a control alone stay different.
      if (table.columns[c].fit != Table::Fit::cut) {
        row[c] = layout::clean(row[c]);
      }
      wide[c] = std::max(wide[c], layout::width(layout::clean(row[c])));
    }
  }
  std::size_t indent = indent_;
  std::size_t gap = 2;
  const auto total = [&] {
    std::size_t sum = indent + gap * (n - 1);
    for (const std::size_t w : wide) {
      sum += w;
    }
    return sum;
  };
  if (!wraps && total() > width_) {
    indent = 0;
    gap = 1;
  }
  bool shortened = false;
  while (total() > width_) {
    // Take from the column that has most to spare.
    std::size_t widest = n;
    std::size_t spare = 0;
    for (std::size_t c = 0; c < n; ++c) {
      const Table::Column& column = table.columns[c];
      if (column.fit != Table::Fit::whole && wide[c] > column.least &&
          wide[c] - column.least > spare) {
        spare = wide[c] - column.least;
        widest = c;
      }
    }
    if (widest == n) {
      return false;
    }
    --wide[widest];
    shortened = shortened || table.columns[widest].fit == Table::Fit::cut;
  }
  for (std::size_t c = 0; c < n; ++c) {
    if (table.columns[c].fit == Table::Fit::cut) {
      std::vector<std::string> words;
      words.reserve(cells.size());
      for (const std::vector<std::string>& row : cells) {
        words.push_back(row[c]);
      }
      words = layout::cut(words, wide[c]);
      for (std::size_t r = 0; r < cells.size(); ++r) {
        cells[r][c] = std::move(words[r]);
      }
    }
  }

  std::string text = spaces(indent);
  for (std::size_t c = 0; c < n; ++c) {
    const Table::Column& column = table.columns[c];
    text += (c == 0 ? "" : spaces(gap)) +
            padded(layout::head(column.head, wide[c]), wide[c], column.right);
  }
  line(text);
  for (std::size_t r = 0; r < cells.size(); ++r) {
    const std::vector<std::string>& row = cells[r];
    std::vector<std::string> wrapped;
    text = spaces(indent);
    for (std::size_t c = 0; c < n; ++c) {
      const Table::Column& column = table.columns[c];
      std::string_view cell = row[c];
      if (column.fit == Table::Fit::wrap) {
        wrapped = layout::wrap(cell, wide[c]);
        cell = wrapped.empty() ? std::string_view() : std::string_view(wrapped.front());
      }
      std::string_view paint;
      if (column.is_grade && !cell.empty()) {
        if (const std::optional<Grade> grade = grade_named(cell.substr(0, 1))) {
          paint = paint_of(*grade);
        }
      }
      text += c == 0 ? "" : spaces(gap);
      text += painted(padded(cell, wide[c], column.right), paint);
    }
    line(text);
    // The column that wraps is the last one.
    for (std::size_t l = 1; l < wrapped.size(); ++l) {
      line(spaces(total() - wide[n - 1]) + wrapped[l]);
    }
    if (r < below.size()) {
      whole(indent + wide[0] + gap, below[r]);
    }
  }
  if (shortened) {
    whole(indent_, "~: a word cut to fit.");
  }
  return true;
}

}  // namespace

std::string in_text(const Document& document, const TextStyle& style) {
  return Page(style).render(document);
}

}  // namespace dryshaft::document

namespace dryshaft {

std::string to_text(const Report& report, const TextStyle& style) {
  std::string text = document::in_text(document::describe(report, style.units, style.full), style);
  if (style.full) {
    return text;
  }
  // The hashes go before the screen is left.
  constexpr std::ptrdiff_t kScreen = 40;  // lines
  const auto closing = [&](bool hashes) {
    return "\n" +
           document::in_text({document::Paragraph{document::small_print(report, hashes)}}, style);
  };
  const std::string end = closing(true);
  const auto lines = [](const std::string& part) { return std::ranges::count(part, '\n'); };
  return text += lines(text) + lines(end) <= kScreen ? end : closing(false);
}

std::string to_text(const Batch& batch, const TextStyle& style) {
  return document::in_text(document::describe(batch, style.units), style);
}

}  // namespace dryshaft
