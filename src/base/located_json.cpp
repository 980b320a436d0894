#include "base/located_json.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <limits>
#include <nlohmann/json.hpp>
#include <optional>
#include <system_error>
#include <utility>

#include "base/complaints.hpp"
#include "base/number.hpp"
#include "base/utf8.hpp"

namespace dryshaft::located {
namespace {

constexpr std::size_t kShownText = 40;    // characters of a value shown in a message
constexpr std::size_t kFewChildren = 12;  // up to here, comparing all pairs beats sorting
constexpr std::string_view kNumberRange = "number-range";
constexpr int kNumberOverflow = 406;  // nlohmann: out_of_range, "number overflow"

bool is_space(char c) { return c == ' ' || c == '\t' || c == '\n' || c == '\r'; }
bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool in_number(char c) {
  return is_digit(c) || c == '-' || c == '+' || c == '.' || c == 'e' || c == 'E';
}

std::optional<unsigned> hex4(std::string_view text, std::size_t at) {
  if (at > text.size() || text.size() - at < 4) {
    return std::nullopt;
  }
  unsigned value = 0;
  for (const char c : text.substr(at, 4)) {
    const char lower = static_cast<char>(c | 0x20);
    if (is_digit(c)) {
      value = value * 16 + static_cast<unsigned>(c - '0');
    } else if (lower >= 'a' && lower <= 'f') {
      value = value * 16 + static_cast<unsigned>(lower - 'a' + 10);
    } else {
      return std::nullopt;
    }
  }
  return value;
}

struct Fault {
  std::size_t at = 0;
  std::string message;
  std::string hint = {};
};

// What is wrong with the string that opens at `quote`, if something is.
std::optional<Fault> string_fault(std::string_view text, std::size_t quote) {
  std::size_t i = quote + 1;
  while (i < text.size() && text[i] != '"') {
    const char c = text[i];
    if (c == '\n' || c == '\r') {
      break;
    }
    if (static_cast<unsigned char>(c) < 0x20) {
      return Fault{i, fmt::format("a string holds the control character U+{:04X}", c),
                   fmt::format("write it as \\u{:04x}", c)};
    }
    if (c != '\\') {
      ++i;
      continue;
    }
    if (i + 1 == text.size()) {
      i = text.size();
      break;
    }
    if (text[i + 1] != 'u') {
      if (std::strchr("\"\\/bfnrt", text[i + 1]) == nullptr || text[i + 1] == '\0') {
        return Fault{i,
                     fmt::format("\"\\{}\" is not an escape that JSON knows",
                                 text.substr(i + 1, utf8::decode(text, i + 1).length)),
                     "write a backslash twice"};
      }
      i += 2;
      continue;
    }
    const std::optional<unsigned> unit = hex4(text, i + 2);
    if (!unit) {
      return Fault{i, "\"\\u\" needs four hexadecimal digits after it"};
    }
    const bool high = *unit >= 0xD800 && *unit <= 0xDBFF;
    const bool low = *unit >= 0xDC00 && *unit <= 0xDFFF;
    bool paired = false;
    if (high && text.substr(i + 6, 2) == "\\u") {
      const std::optional<unsigned> second = hex4(text, i + 8);
      paired = second && *second >= 0xDC00 && *second <= 0xDFFF;
    }
    if (low || (high && !paired)) {
      return Fault{i, fmt::format("\"{}\" is half of a surrogate pair", text.substr(i, 6))};
    }
    i += paired ? 12 : 6;
  }
  if (i >= text.size()) {
    return Fault{quote, "the string that begins here is not closed"};
  }
  if (text[i] != '"') {
    return Fault{quote, "the string that begins here is not closed on its line",
                 "write a line break inside a string as \\n"};
  }
  return std::nullopt;
}

// Whether a number is written as JSON wants it and larger than any double.
bool overflows(std::string_view number) {
  const char* const end = number.data() + number.size();
  double value = 0;
  const auto [stop, error] = double_from(number, value);
  return stop == end && is_digit(number.back()) && (error != std::errc() || std::isinf(value)) &&
         // One too small for a double is a zero to the parser.
         !nlohmann::json::accept(number.data(), end);
}

void append_escaped(std::string& out, std::string_view key) {
  for (const char c : key) {
    if (c == '~') {
      out += "~0";
    } else if (c == '/') {
      out += "~1";
    } else {
      out += c;
    }
  }
}

}  // namespace

// Makes the tree out of nlohmann's events. An event brings no place, so each
// token is looked for after the one before it: what stands between two tokens
// is white space, a comma or a colon, for otherwise there would be no event.
class TreeBuilder {
 public:
  TreeBuilder(Document& document, const Limits& limits, std::vector<Diagnostic>& out)
      : d_(document), limits_(limits), out_(out) {
    d_.nodes_.reserve(std::min<std::size_t>(d_.text_.size() / 16 + 4, 1024));
  }

  void build() {
    if (d_.text_.size() > std::min<std::size_t>(limits_.bytes, kNone - 1)) {
      out_.push_back(too_large(d_.text_, d_.origin(), limits_.bytes));
      return;
    }
    const auto before = static_cast<std::ptrdiff_t>(out_.size());
    parse(d_.text_);
    if (overflow_ != kNone) {
      parse(without_overflows(overflow_));
    }
    // The parser takes a NUL for the end of the text.
    if (d_.usable_ && skip_space(done_) != d_.text_.size()) {
      d_.usable_ = false;
      syntax();
    }
    report_troubles();
    std::ranges::stable_sort(out_.begin() + before, out_.end(), {}, place_in_text);
  }

  // ---- nlohmann's SAX interface; false stops the parser
  bool null() {
    add(Kind::null, token(4));
    return true;
  }
  bool boolean(bool value) {
    add(Kind::boolean, token(value ? 4 : 5)).boolean = value;
    return true;
  }
  bool number_integer(std::int64_t value) {
    const double number = static_cast<double>(value);
    // Negative here, so the magnitude is at most 2^63, which a double holds.
    return number_node(number, static_cast<std::int64_t>(number) == value);
  }
  bool number_unsigned(std::uint64_t value) {
    const double number = static_cast<double>(value);
    return number_node(
        number, number < 18446744073709551616.0 && static_cast<std::uint64_t>(number) == value);
  }
  bool number_float(double value, const std::string& /*written*/) {
    // Digits alone that came as a float are an integer beyond 64 bits. The
    // string is of no use here: its decimal point is the locale's.
    const std::uint32_t begin = next_token();
    if (std::ranges::binary_search(overflows_, begin)) {
      constexpr double kInfinity = std::numeric_limits<double>::infinity();
      return number_node(d_.text_[begin] == '-' ? -kInfinity : kInfinity, false);
    }
    return number_node(value,
                       d_.text_.substr(begin, number_end(begin) - begin).find_first_of(".eE") !=
                           std::string_view::npos);
  }
  bool string(const std::string& value) {
    const Span span = string_token(value);
    const std::string_view kept = keep(span, value);
    add(Kind::text, span).text = kept;
    return true;
  }
  bool binary(const nlohmann::json::binary_t& /*value*/) { return false; }
  bool key(const std::string& value) {
    const Span span = string_token(value);
    key_ = keep(span, value);
    key_begin_ = span.begin;
    last_ = Last::key;
    return true;
  }
  bool start_object(std::size_t /*size*/) { return open(Kind::object); }
  bool start_array(std::size_t /*size*/) { return open(Kind::array); }
  bool end_object() {
    drop_repeated_keys();
    return close();
  }
  bool end_array() { return close(); }
  bool parse_error(std::size_t /*position*/, const std::string& /*token*/,
                   const nlohmann::detail::exception& error) {
    if (error.id == kNumberOverflow) {
      overflow_ = next_token();
    } else {
      syntax();
    }
    return false;
  }

 private:
  enum class Last : std::uint8_t { nothing, open, key, value };
  struct Span {
    std::uint32_t begin = 0;
    std::uint32_t end = 0;
  };
  struct Trouble {
    std::uint32_t node = 0;
    bool repeated = false;  // otherwise a number out of range
  };

  // `text` is the document's, byte for byte, but for numbers.
  void parse(std::string_view text) {
    d_.nodes_.clear();
    d_.strings_.clear();
    open_.clear();
    troubles_.clear();
    repeated_.clear();
    last_ = Last::nothing;
    done_ = text.starts_with(utf8::kByteOrderMark) ? utf8::kByteOrderMark.size() : 0;
    d_.usable_ = nlohmann::json::sax_parse(text.begin(), text.end(), this);
  }

  // The parser ends at a number that is larger than any double, and what follows would be lost. So
  // from the first of them on, each gives way to a zero of as many bytes.
  std::string without_overflows(std::size_t at) {
    std::string out(d_.text_);
    while (at < out.size()) {
      if (out[at] == '"') {
        for (++at; at < out.size() && out[at] != '"';) {
          at += out[at] == '\\' ? 2 : 1;
        }
        ++at;
      } else if (out[at] == '-' || is_digit(out[at])) {
        const std::size_t end = number_end(at);
        if (overflows(d_.text_.substr(at, end - at))) {
          overflows_.push_back(static_cast<std::uint32_t>(at));
          const std::size_t first = at + (out[at] == '-' ? 1 : 0);
          std::fill(out.begin() + static_cast<std::ptrdiff_t>(first),
                    out.begin() + static_cast<std::ptrdiff_t>(end), '0');
          out[first + 1] = '.';
        }
        at = end;
      } else {
        ++at;
      }
    }
    return out;
  }

  [[nodiscard]] std::size_t skip_space(std::size_t at) const {
    while (at < d_.text_.size() && is_space(d_.text_[at])) {
      ++at;
    }
    return at;
  }
  [[nodiscard]] std::uint32_t next_token() const {
    std::size_t at = done_;
    while (at < d_.text_.size() &&
           (is_space(d_.text_[at]) || d_.text_[at] == ',' || d_.text_[at] == ':')) {
      ++at;
    }
    return static_cast<std::uint32_t>(at);
  }
  Span token(std::uint32_t length) {
    const std::uint32_t begin = next_token();
    done_ = begin + length;
    return {begin, static_cast<std::uint32_t>(done_)};
  }
  // Where no escape is used, the string stands in the text as it is.
  [[nodiscard]] bool stands_at(std::size_t at, const std::string& value) const {
    return at + value.size() < d_.text_.size() && d_.text_[at + value.size()] == '"' &&
           d_.text_.compare(at, value.size(), value) == 0;
  }
  Span string_token(const std::string& value) {
    const std::uint32_t begin = next_token();
    std::size_t i = begin + std::size_t{1};
    if (stands_at(i, value)) {
      i += value.size();
    } else {
      while (d_.text_[i] != '"') {
        i += d_.text_[i] == '\\' ? 2 : 1;
      }
    }
    done_ = i + 1;
    return {begin, static_cast<std::uint32_t>(done_)};
  }
  std::string_view keep(const Span& span, const std::string& value) {
    if (span.end - span.begin == value.size() + 2) {
      return d_.text_.substr(span.begin + std::size_t{1}, value.size());
    }
    return d_.strings_.emplace_back(value);
  }

  Node& add(Kind kind, const Span& span) {
    const auto index = static_cast<std::uint32_t>(d_.nodes_.size());
    Node& node = d_.nodes_.emplace_back();
    node.kind = kind;
    node.begin = span.begin;
    node.end = span.end;
    node.key_begin = span.begin;
    if (!open_.empty()) {
      Level& level = open_.back();
      Node& parent = d_.nodes_[level.node];
      node.parent = level.node;
      if (parent.kind == Kind::object) {
        node.key = key_;
        node.key_begin = key_begin_;
      }
      (level.last_child == kNone ? parent.first_child : d_.nodes_[level.last_child].next) = index;
      level.last_child = index;
      node.index = parent.children++;
    }
    last_ = Last::value;
    return node;
  }
  // The end of the number at `at`, which the parser has found to be one.
  [[nodiscard]] std::size_t number_end(std::size_t at) const {
    const std::string_view text = d_.text_;
    const auto has = [&](char a, char b) {
      return at < text.size() && (text[at] == a || text[at] == b);
    };
    const auto digits = [&] {
      while (at < text.size() && is_digit(text[at])) {
        ++at;
      }
    };
    at += has('-', '-') ? 1 : 0;
    if (has('0', '0')) {
      ++at;  // what follows a zero in front is not part of it
    } else {
      digits();
    }
    if (has('.', '.')) {
      ++at;
      digits();
    }
    if (has('e', 'E')) {
      ++at;
      at += has('+', '-') ? 1 : 0;
      digits();
    }
    return at;
  }
  bool number_node(double value, bool in_range) {
    const std::uint32_t begin = next_token();
    const std::size_t end = number_end(begin);
    done_ = end;
    if (!in_range) {
      troubles_.push_back({static_cast<std::uint32_t>(d_.nodes_.size()), false});
    }
    // Adding a positive zero turns -0 into 0.
    add(Kind::number, {begin, static_cast<std::uint32_t>(end)}).number = value + 0.0;
    return true;
  }
  bool open(Kind kind) {
    const auto index = static_cast<std::uint32_t>(d_.nodes_.size());
    add(kind, token(1));
    if (static_cast<int>(open_.size()) >= limits_.depth) {
      out_.push_back(
          d_.at(d_.nodes_.back(), "depth", fmt::format("is nested {} deep", open_.size() + 1)));
      // A pointer of so many steps helps nobody, and neither does its path.
      out_.back().pointer.clear();
      out_.back().allowed = fmt::format("{} levels", limits_.depth);
      return false;
    }
    open_.push_back({index, kNone});
    last_ = Last::open;
    return true;
  }
  bool close() {
    d_.nodes_[open_.back().node].end = token(1).end;
    open_.pop_back();
    last_ = Last::value;
    return true;
  }

  // Only the first of members with the same key stays in the tree.
  void drop_repeated_keys() {
    Node& object = d_.nodes_[open_.back().node];
    const std::size_t before = troubles_.size();
    if (object.children <= kFewChildren) {
      for (std::uint32_t a = object.first_child; a != kNone; a = d_.nodes_[a].next) {
        for (std::uint32_t b = object.first_child; b != a; b = d_.nodes_[b].next) {
          if (d_.nodes_[a].key == d_.nodes_[b].key) {
            troubles_.push_back({a, true});
            break;
          }
        }
      }
    } else {
      sorted_.clear();
      for (std::uint32_t a = object.first_child; a != kNone; a = d_.nodes_[a].next) {
        sorted_.push_back(a);
      }
      std::ranges::sort(sorted_, {},
                        [this](std::uint32_t i) { return std::pair(d_.nodes_[i].key, i); });
      for (std::size_t i = 1; i < sorted_.size(); ++i) {
        if (d_.nodes_[sorted_[i]].key == d_.nodes_[sorted_[i - 1]].key) {
          troubles_.push_back({sorted_[i], true});
        }
      }
    }
    if (troubles_.size() == before) {
      return;
    }
    repeated_.resize(d_.nodes_.size());
    for (std::size_t i = before; i < troubles_.size(); ++i) {
      repeated_[troubles_[i].node] = true;
    }
    std::uint32_t* link = &object.first_child;
    while (*link != kNone) {
      Node& child = d_.nodes_[*link];
      if (repeated_[*link]) {
        *link = child.next;
        --object.children;
      } else {
        link = &child.next;
      }
    }
  }
  void report_troubles() {
    std::ranges::sort(troubles_, {}, &Trouble::node);
    for (const Trouble& t : troubles_) {
      const Node& node = d_.nodes_[t.node];
      if (t.repeated) {
        add_complaint(out_, d_.at_key(node, "duplicate-key", "is given twice")).hint =
            "keep one of the two";
      } else {
        add_complaint(out_, d_.at(node, kNumberRange, fmt::format("is {}", shown(d_, node))))
            .allowed = "numbers that a double holds exactly";
      }
    }
  }

  void syntax() {
    const std::string_view text = d_.text_;
    std::size_t at = skip_space(done_);
    const bool object = !open_.empty() && d_.nodes_[open_.back().node].kind == Kind::object;
    std::string_view expected;
    bool key_expected = false;
    bool value_expected = false;
    bool after_comma = false;
    const auto passes = [&](char separator) {
      const bool there = at < text.size() && text[at] == separator;
      at = there ? skip_space(at + 1) : at;
      return there;
    };
    switch (last_) {
      case Last::nothing:
        expected = "a value";
        value_expected = true;
        break;
      case Last::open:
        expected = object ? "a key or \"}\"" : "a value or \"]\"";
        (object ? key_expected : value_expected) = true;
        break;
      case Last::key:
        value_expected = passes(':');
        expected = value_expected ? "a value" : "\":\"";
        break;
      case Last::value:
        if (open_.empty()) {
          expected = "the end of the text";
        } else if (passes(',')) {
          after_comma = true;
          expected = object ? "a key" : "a value";
          (object ? key_expected : value_expected) = true;
        } else {
          expected = object ? "\",\" or \"}\"" : "\",\" or \"]\"";
        }
        break;
    }
    Fault fault{
        .at = at,
        .message = fmt::format("expected {}, found {}", expected, utf8::found_at(text, at))};
    const char c = at < text.size() ? text[at] : '\0';
    if (c == '"' && (key_expected || value_expected)) {
      if (std::optional<Fault> inside = string_fault(text, at)) {
        fault = *std::move(inside);
      }
    } else if (after_comma && (c == '}' || c == ']')) {
      fault.hint = "take out the comma before it";
    } else if (c == '/' || c == '#') {
      fault.hint = "JSON has no comments";
    } else if (c == '\'') {
      fault.hint = "strings stand in double quotes";
    } else if (key_expected && utf8::in_word(c)) {
      fault.hint = "keys stand in double quotes";
    } else if (value_expected && in_number(c)) {
      fault.hint = "numbers are written like 12, -0.5 or 1e3";
    } else if (value_expected && utf8::in_word(c)) {
      fault.hint = "words stand in double quotes, save true, false and null";
    } else if (last_ == Last::value && !open_.empty() && is_digit(c) && at > 0 &&
               is_digit(text[at - 1])) {
      fault.hint = "a number has no zero in front";
    }
    const std::size_t invalid = utf8::first_invalid(text);
    std::string_view code = "syntax";
    if (invalid < text.size() && invalid <= std::max<std::size_t>(stopped_near(at), fault.at)) {
      code = "utf-8";
      fault = {.at = invalid,
               .message = fmt::format("byte 0x{:02X} is not UTF-8",
                                      static_cast<unsigned char>(text[invalid])),
               .hint = "save the file as UTF-8"};
    }
    Diagnostic d = d_.places_.complaint(fault.at, code, std::move(fault.message));
    d.hint = std::move(fault.hint);
    out_.push_back(std::move(d));
  }
  // The end of the string that opens at `at`, or `at`: the parser looked no further.
  [[nodiscard]] std::size_t stopped_near(std::size_t at) const {
    const std::string_view text = d_.text_;
    if (at >= text.size() || text[at] != '"') {
      return at;
    }
    const std::size_t end = text.find_first_of("\"\n", at + 1);
    return end == std::string_view::npos ? text.size() : end;
  }

  struct Level {
    std::uint32_t node = 0;
    std::uint32_t last_child = kNone;
  };

  Document& d_;
  Limits limits_;
  std::vector<Diagnostic>& out_;
  std::vector<Level> open_;
  std::vector<Trouble> troubles_;
  std::vector<std::uint32_t> sorted_;
  std::vector<bool> repeated_;
  std::uint32_t overflow_ = kNone;        // where the parser ended, if it did at a number
  std::vector<std::uint32_t> overflows_;  // where those stand that are read as zeros
  std::size_t done_ = 0;                  // the end of the last token
  std::string_view key_;
  std::uint32_t key_begin_ = 0;
  Last last_ = Last::nothing;
};

Document::Document(std::string_view text, const Origin& origin, const Limits& limits,
                   std::vector<Diagnostic>& out)
    : text_(text), places_(text, origin) {
  TreeBuilder(*this, limits, out).build();
}

const Node* Document::find(const Node& object, std::string_view key) const {
  for (const Node* n = first(object); n != nullptr; n = next(*n)) {
    if (n->key == key) {
      return n;
    }
  }
  return nullptr;
}

const Node* Document::first(const Node& container) const {
  return container.first_child == kNone ? nullptr : &nodes_[container.first_child];
}

const Node* Document::next(const Node& node) const {
  return node.next == kNone ? nullptr : &nodes_[node.next];
}

std::string Document::pointer(const Node& node) const {
  if (node.parent == kNone) {
    return "";
  }
  const Node& parent = nodes_[node.parent];
  std::string out = pointer(parent);
  out += '/';
  if (parent.kind == Kind::object) {
    append_escaped(out, node.key);
  } else {
    out += std::to_string(node.index);
  }
  return out;
}

std::string_view Document::raw(const Node& node) const {
  return text_.substr(node.begin, node.end - node.begin);
}

Diagnostic Document::at(const Node& node, std::string_view code, std::string message) const {
  // An element of an array is shown from the array's key on.
  const bool element = node.parent != kNone && nodes_[node.parent].kind == Kind::array;
  const std::uint32_t from = element ? nodes_[node.parent].key_begin : node.key_begin;
  Diagnostic d = places_.complaint(from, node.begin, code, std::move(message));
  d.pointer = pointer(node);
  return d;
}

Diagnostic Document::at_key(const Node& node, std::string_view code, std::string message) const {
  Diagnostic d = places_.complaint(node.key_begin, node.key_begin, code, std::move(message));
  d.pointer = pointer(node);
  return d;
}

std::string shown(const Document& document, const Node& node) {
  switch (node.kind) {
    case Kind::text:
      return fmt::format("\"{}\"", utf8::harmless(node.text, kShownText));
    case Kind::object:
    case Kind::array:
      return std::string(kind_name(node.kind));
    default:
      return utf8::harmless(document.raw(node), kShownText);
  }
}

std::string size_held(std::size_t bytes) { return fmt::format("holds {} bytes", bytes); }

Diagnostic too_large(std::string_view text, const Origin& origin, std::size_t limit) {
  Diagnostic d = Places(text, origin).complaint(0, "size", size_held(text.size()));
  d.allowed = fmt::format("{} bytes", limit);
  return d;
}

void take_back_number_range(const Document& document, const Node& node,
                            std::vector<Diagnostic>& complaints) {
  std::erase_if(complaints, [&, pointer = document.pointer(node)](const Diagnostic& d) {
    return d.code == kNumberRange && d.pointer == pointer && d.source == document.origin().source;
  });
}

std::string_view kind_name(Kind kind) {
  switch (kind) {
    case Kind::null:
      return "null";
    case Kind::boolean:
      return "true or false";
    case Kind::number:
      return "a number";
    case Kind::text:
      return "a string";
    case Kind::array:
      return "an array";
    case Kind::object:
      return "an object";
  }
  return "";
}

}  // namespace dryshaft::located
