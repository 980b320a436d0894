// A report or a batch as a list of blocks: what is said, in which order.
//
// Text, Markdown and HTML are renderings of the same blocks, so that none can
// say less than another. Strings in blocks are as the model has them;
// whoever renders them makes them safe for the format.
#ifndef DRYSHAFT_REPORT_DOCUMENT_HPP
#define DRYSHAFT_REPORT_DOCUMENT_HPP

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include "drawings/drawings.hpp"
#include "dryshaft/report.hpp"

namespace dryshaft::document {

struct Title {
  std::string text;
  std::string below;  // a second line, or empty
};

struct Heading {
  std::string text;
};

struct Paragraph {
  std::string text;
};

// One of the few lines that must be seen first: "Grade C", and what it means.
struct Lead {
  std::string label;
  std::string text;
  std::optional<Grade> grade;           // colours the label
  std::optional<Urgency> urgency = {};  // colours the line
  std::optional<double> share = {};     // drawn as dots in a hundred
};

// A caution, before what needs it.
struct Care {
  std::string text;
};

// An item of a list. Items that follow each other make one list.
struct Item {
  std::size_t number = 0;  // 0: not numbered
  std::string text;
  std::vector<std::string> below;  // lines that belong to it
};

// A share of a whole as a bar.
struct Bar {
  std::string label;
  std::string amount;
  double share = 0;
  std::optional<Grade> grade;  // colours the label
  bool only_drawn = false;     // a table says it as well, so text and Markdown leave it out
  double from = 0;             // of a range, the share at which it begins
};

struct CauseLine {
  std::string probability;
  double share = 0;
  std::string title;
  struct Weight {
    bool speaks_for = true;
    std::string decibels;  // "+18.3 dB"
    std::string word;      // "very strong"
    std::string shown;
    bool leading = true;  // the others are shown where there is room
  };
  std::vector<Weight> weights;
};

struct Table {
  enum class Fit : std::uint8_t { whole, cut, wrap };
  struct Column {
    std::string head;
    Fit fit = Fit::whole;
    bool right = false;
    bool is_grade = false;
    std::size_t least = 0;           // columns below which `cut` and `wrap` may not go
    bool speaks_for_itself = false;  // its cells need no head beside them
    std::string order = {};          // words from first to last, where the alphabet is wrong
    bool choose = false;             // few different values: worth choosing one of
    bool extra = false;              // may stand below its row where there is no room beside it
  };
  std::vector<Column> columns;
  std::vector<std::vector<std::string>> rows;
  bool opens = false;  // row `i` leads to the report on unit `i`
};

// A unit's life along distance or time, as a picture. What it shows is said in a table or a list as
// well, so text and Markdown leave it out.
struct LifeLine {
  enum class Tip : std::uint8_t { not_seen, dry, film, wet };
  struct Look {
    double at = 0;
    Tip tip = Tip::not_seen;
    Grade grade = Grade::U;
  };
  bool by_distance = true;  // `at` is km; otherwise days since 1970-01-01
  Units units = Units::km;
  std::vector<Look> looks;       // oldest first
  std::vector<double> works;     // in the order in which `done` numbers them
  std::vector<LeakChance> leak;  // by distance alone
  std::optional<double> next;    // look
  std::vector<std::string> done;
  std::string told;  // the same in sentences
};

// "dry", "film"
std::string_view word(LifeLine::Tip tip);

// A drawing of our own, beside what it belongs to.
struct Drawn {
  const Drawing* drawing = nullptr;
};

// A photograph, or its name where it is not shown.
struct Photograph {
  std::string caption;
  std::string text;                          // in its place
  std::shared_ptr<const std::string> bytes;  // null: only a page shows them
  PictureKind kind = PictureKind::jpeg;
};

// Lines whose layout carries meaning (an excerpt with its caret).
struct Verbatim {
  std::string text;
};

// A line to fill in on paper: boxes to tick, or room to write. Entries that
// follow each other make one form.
struct Entry {
  std::string label;
  std::vector<std::string> choices;  // words beside boxes; none: room to write
  std::string unit;                  // behind the room to write, or empty
  std::optional<Field> field = {};   // of a record, that it is about
  std::size_t work = 0;              // of which entry of `/work`, from 1
  std::string only = {};             // the one word of that field that the box stands for
};
// Room for what a field holds, in its words or, for owners, in plain ones.
Entry entry_of(const FieldSpec& field, Audience audience, Units units);

using Block = std::variant<Title, Heading, Paragraph, Lead, Care, Item, Bar, CauseLine, Table,
                           LifeLine, Photograph, Drawn, Verbatim, Entry>;
using Document = std::vector<Block>;

// A document in two parts: a page puts its picture between them.
struct Description {
  Document answer;
  Document rest;
};

// What describers put a document together with.
class Telling {
 protected:
  void heading(std::string text) { d_.emplace_back(Heading{std::move(text)}); }
  void paragraph(std::string text) { d_.emplace_back(Paragraph{std::move(text)}); }
  void item(std::string text) { d_.emplace_back(Item{0, std::move(text), {}}); }
  void lead(std::string_view label, std::string text) {
    d_.emplace_back(Lead{std::string(label), std::move(text), std::nullopt});
  }
  // What has been told since the last time.
  Document take() { return std::exchange(d_, {}); }

  Document d_;
};

// Why to be wary of the rules behind a report, if there is a reason.
void add_reservations(Document& out, const Report& report);

// Which rules and family a report rests on, and what a shop's own records put in their place.
std::string rules_used(const Report& report);
// The first screen, and what stands behind it.
Description describe(const Report& report, Units units);
// The first screen, and all that stands behind it or where it is found.
Document describe(const Report& report, Units units, bool full);
Document describe(const Batch& batch, Units units);
// What a first screen in a terminal or a note ends with: the day and, where there is room, hashes
// of what it rests on.
std::string small_print(const Report& report, bool hashes);

}  // namespace dryshaft::document

#endif
