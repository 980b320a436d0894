#include "record/columns.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <optional>
#include <utility>

#include "base/complaints.hpp"
#include "base/located_json.hpp"
#include "dryshaft/table.hpp"
#include "record/shape.hpp"
#include "vocabulary/formats.hpp"

namespace dryshaft {
namespace {

constexpr std::string_view kColumnsFormat = "dryshaft-columns/1";
constexpr located::Limits kColumnsLimits{.depth = 8, .bytes = std::size_t{1} << 20U};
constexpr std::pair<std::string_view, DateOrder> kDateOrders[] = {
    {"year-month-day", DateOrder::year_month_day},
    {"day-month-year", DateOrder::day_month_year},
    {"month-day-year", DateOrder::month_day_year},
};

// The last part of a pointer, the last two, and so on, joined by dots.
std::vector<std::string> tails(std::string_view pointer) {
  std::vector<std::string> out;
  for (std::size_t slash = pointer.rfind('/'); slash != std::string_view::npos;
       slash = slash == 0 ? std::string_view::npos : pointer.rfind('/', slash - 1)) {
    std::string tail(pointer.substr(slash + 1));
    std::ranges::replace(tail, '/', '.');
    out.push_back(std::move(tail));
  }
  return out;
}

using Names = std::map<std::string, std::optional<ColumnField>, std::less<>>;

// A name that several fields have belongs to the one that a record must have, else to none.
void offer(Names& names, const std::string& name, const ColumnField& column) {
  const auto [at, is_new] = names.try_emplace(plain_title(name), column);
  if (is_new || at->second == column) {
    return;
  }
  if (column.field->required) {
    at->second = column;
  } else if (!at->second || !at->second->field->required) {
    at->second.reset();
  }
}

const Names& names_of_columns() {
  static const Names kNames = [] {
    Names names;
    for (const FieldSpec& field : fields()) {
      for (const std::string& name : tails(field.pointer)) {
        offer(names, name, {&field, false});
      }
      if (field.miles_too) {
        for (const std::string& name : tails(miles_pointer(field.pointer))) {
          offer(names, name, {&field, true});
        }
      }
    }
    // A cell of words alone: each is work done on the day and at the reading of its row.
    const ColumnField work{&spec(Field::work_did), false};
    offer(names, std::string(kWorkPointer.substr(1)), work);
    // What people call it, where that is no field's name already.
    Names titles;
    offer(titles, std::string(kWorkTitle), work);
    for (const FieldSpec& field : fields()) {
      offer(titles, std::string(field.title), {&field, false});
    }
    names.merge(titles);
    return names;
  }();
  return kNames;
}

class ColumnMapReader {
 public:
  ColumnMapReader(const located::Document& document, std::vector<Diagnostic>& out)
      : d_(document), out_(out) {}

  ColumnMap read() {
    ColumnMap map;
    if (d_.root().kind != located::Kind::object) {
      complain(d_.root(), "wrong-type", found(d_.root()), "an object");
      return map;
    }
    const located::Node* format = member(d_.root(), "format");
    if (format != nullptr && format->text != kColumnsFormat) {
      complain(
          *format, "bad-value", found(*format), std::string(kColumnsFormat),
          format->kind == located::Kind::text ? format_hint(format->text, kColumnsFormat) : "");
    }
    const located::Node* columns = member(d_.root(), "columns");
    only(d_.root(), {"format", "columns"});
    if (columns == nullptr) {
      return map;
    }
    if (columns->kind != located::Kind::object) {
      complain(*columns, "wrong-type", found(*columns), "an object");
      return map;
    }
    for (const located::Node* n = d_.first(*columns); n != nullptr; n = d_.next(*n)) {
      read_column(*n, map);
    }
    return map;
  }

 private:
  [[nodiscard]] std::string found(const located::Node& node) const {
    return fmt::format("is {}", located::shown(d_, node));
  }
  void complain(const located::Node& node, std::string_view code, std::string message,
                std::string allowed = {}, std::string hint = {}) {
    Diagnostic& d = add_complaint(out_, d_.at(node, code, std::move(message)));
    d.allowed = std::move(allowed);
    d.hint = std::move(hint);
  }
  const located::Node* member(const located::Node& object, std::string_view key) {
    const located::Node* node = d_.find(object, key);
    if (node == nullptr) {
      complain(object, "missing-field", fmt::format("has no \"{}\"", key));
    }
    return node;
  }
  void only(const located::Node& object, const std::vector<std::string_view>& keys) {
    for (const located::Node* n = d_.first(object); n != nullptr; n = d_.next(*n)) {
      if (std::ranges::find(keys, n->key) == keys.end()) {
        Diagnostic& d = add_complaint(out_, d_.at_key(*n, "unknown-field", "is not known here"));
        d.allowed = fmt::format("{}", fmt::join(keys, ", "));
      }
    }
  }

  void read_column(const located::Node& node, ColumnMap& map) {
    ColumnUse use;
    use.title = node.key;
    for (const ColumnUse& other : map.columns) {
      if (plain_title(other.title) == plain_title(use.title)) {
        add_complaint(out_, d_.at_key(node, "duplicate-key", "is given twice"));
        return;
      }
    }
    const located::Node* field = &node;
    if (node.kind == located::Kind::null) {
      use.left_out = true;
      map.columns.push_back(std::move(use));
      return;
    }
    if (node.kind == located::Kind::object) {
      field = member(node, "field");
      only(node, {"field", "values", "dates"});
    }
    if (field == nullptr || !read_name(*field, use)) {
      return;
    }
    if (node.kind == located::Kind::object) {
      read_values(node, use);
      read_dates(node, use);
    }
    map.columns.push_back(std::move(use));
  }

  bool read_name(const located::Node& node, ColumnUse& use) {
    if (node.kind != located::Kind::text) {
      complain(node, "wrong-type", found(node),
               node.key == "field" ? "the name of a field"
                                   : "the name of a field, null, or an object with \"field\"");
      return false;
    }
    if (node.text.starts_with(kOwnPrefix)) {
      if (!is_own_name(node.text)) {
        complain(node, "bad-value", found(node), "x_ and letters, digits, _ and -");
        return false;
      }
      use.own = node.text;
      return true;
    }
    const std::optional<ColumnField> column = column_field(node.text);
    if (!column) {
      const std::string hint = did_you_mean_column(node.text);
      complain(node, "unknown-field", fmt::format("{}, which is no field", found(node)), {},
               hint.empty() ? "begin a key of your own with x_" : hint);
      return false;
    }
    use.field = column->field->id;
    use.miles = column->miles;
    return true;
  }

  static bool is_own_name(std::string_view name) {
    return name.size() > kOwnPrefix.size() && std::ranges::all_of(name, [](char c) {
             return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
                    c == '_' || c == '-';
           });
  }

  void read_values(const located::Node& object, ColumnUse& use) {
    const located::Node* values = d_.find(object, "values");
    if (values == nullptr) {
      return;
    }
    if (values->kind != located::Kind::object) {
      complain(*values, "wrong-type", found(*values), "an object");
      return;
    }
    for (const located::Node* n = d_.first(*values); n != nullptr; n = d_.next(*n)) {
      std::string word;
      if (n->kind == located::Kind::text || n->kind == located::Kind::boolean) {
        word = n->kind == located::Kind::text ? std::string(n->text) : std::string(d_.raw(*n));
      } else if (n->kind != located::Kind::null) {
        complain(*n, "wrong-type", found(*n), "a string, true, false, null");
        continue;
      }
      const FieldSpec& field = spec(use.field);
      const bool choice =
          use.own.empty() && (field.type == FieldType::choice || field.type == FieldType::choices);
      const std::vector<std::string_view> words = choice_words(field);
      if (choice && !word.empty() && word != kUnknownWord &&
          std::ranges::find(words, word) == words.end()) {
        complain(*n, "bad-value", found(*n), fmt::format("{}", fmt::join(words, ", ")),
                 did_you_mean(word, words));
        continue;
      }
      std::string said = plain_title(n->key);
      const auto same = std::ranges::find(use.values, said, [](const auto& v) { return v.first; });
      if (same != use.values.end() && same->second != word) {
        out_.push_back(d_.at_key(*n, "duplicate-key",
                                 "is given twice: capitals, blanks and hyphens do not count"));
        continue;
      }
      use.values.emplace_back(std::move(said), std::move(word));
    }
  }

  void read_dates(const located::Node& object, ColumnUse& use) {
    const located::Node* dates = d_.find(object, "dates");
    if (dates == nullptr) {
      return;
    }
    if (!use.own.empty() || spec(use.field).type != FieldType::date) {
      complain(*dates, "bad-value",
               fmt::format("{}, but {} is no date", found(*dates),
                           use.own.empty() ? spec(use.field).pointer : use.own));
      return;
    }
    const auto order =
        std::ranges::find(kDateOrders, dates->text, &std::pair<std::string_view, DateOrder>::first);
    if (order == std::end(kDateOrders)) {
      complain(*dates, "bad-value", found(*dates),
               "year-month-day, day-month-year, month-day-year");
      return;
    }
    use.dates = order->second;
  }

  const located::Document& d_;
  std::vector<Diagnostic>& out_;
};

}  // namespace

std::string plain_title(std::string_view title) {
  constexpr std::string_view kAround = " \t\r\n";
  const std::size_t begin = title.find_first_not_of(kAround);
  if (begin == std::string_view::npos) {
    return "";
  }
  std::string out(title.substr(begin, title.find_last_not_of(kAround) + 1 - begin));
  for (char& c : out) {
    if (c >= 'A' && c <= 'Z') {
      c = static_cast<char>(c - 'A' + 'a');
    } else if (c == ' ' || c == '-' || c == '\n') {
      c = '_';
    } else if (c == '/') {
      c = '.';
    }
  }
  return out.starts_with('.') ? out.substr(1) : out;
}

std::optional<ColumnField> column_field(std::string_view title) {
  const auto at = names_of_columns().find(plain_title(title));
  return at == names_of_columns().end() ? std::nullopt : at->second;
}

std::string did_you_mean_column(std::string_view title) {
  std::vector<std::string_view> known;
  for (const auto& [name, column] : names_of_columns()) {
    if (column) {
      known.emplace_back(name);
    }
  }
  return did_you_mean(plain_title(title), known);
}

std::string pointer_of(const ColumnField& column) {
  if (column.field->id == Field::work_did) {
    return std::string(kWorkPointer);
  }
  return column.miles ? miles_pointer(column.field->pointer) : std::string(column.field->pointer);
}

std::vector<std::string> column_names(const FieldSpec& field) {
  std::vector<std::string> names = tails(pointer_of({&field, false}));
  std::erase_if(names, [&](const std::string& name) {
    return column_field(name) != ColumnField{&field, false};
  });
  return names;
}

Result<ColumnMap> read_column_map(std::string_view text, std::string_view source) {
  Result<ColumnMap> result;
  const located::Document document(text, {source, 1, 1}, kColumnsLimits, result.diagnostics);
  if (document.usable()) {
    ColumnMap map = ColumnMapReader(document, result.diagnostics).read();
    std::ranges::stable_sort(result.diagnostics, {},
                             [](const Diagnostic& d) { return std::pair(d.line, d.column); });
    if (result.diagnostics.empty()) {
      result.value = std::move(map);
    }
  }
  return result;
}

}  // namespace dryshaft
