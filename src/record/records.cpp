#include <fmt/format.h>

#include <algorithm>
#include <cstdint>
#include <iterator>
#include <memory>
#include <optional>
#include <utility>

#include "base/complaints.hpp"
#include "base/located_json.hpp"
#include "base/places.hpp"
#include "base/utf8.hpp"
#include "dryshaft/record.hpp"
#include "record/layout.hpp"
#include "record/pieces.hpp"

namespace dryshaft {
namespace {

// Values that may turn out broken before the exact way of finding a value's end, which can run as
// far as a record may, is no longer tried.
constexpr int kExactTries = 16;
// Where an element ends that is no object or array.
constexpr std::string_view kEndsScalar = ",]{}[\n";

// What a text's layout allows next. Each step looks no further ahead than `look_ahead`.
enum class Next : std::uint8_t {
  start,
  value,         // a record or an array, or the end of the text
  after_value,   // what follows it on its line
  rest_of_line,  // of which nothing is read before a brace
  element,       // of an array, or its end
  after,         // an element of an array
  after_comma,   // of an array, where perhaps none follows
  junk,          // until a line begins with a brace
  junk_line,
  inside_large,  // what holds more bytes than a record may
  nothing
};

// What holds more bytes than a record may, passed over without keeping it.
struct Large {
  // `element` is a value in an array; a `value` of its own ends where a line begins with a brace.
  enum class Kind : std::uint8_t { element, value, value_on_line, line, quoted, bare };
  Kind kind = Kind::value;
  Diagnostic complaint = {};
  std::size_t bytes = 0;
  std::size_t trimmed = 0;  // the same without white space at the end
  std::size_t depth = 0;
  bool in_string = false;
  bool escaped = false;
  bool at_line_start = false;

  [[nodiscard]] bool ends_before(char c) const {
    switch (kind) {
      case Kind::element:
        return false;
      case Kind::value:
        return at_line_start && c == '{';
      case Kind::bare:
        return kEndsScalar.find(c) != std::string_view::npos;
      default:
        return c == '\n';
    }
  }
  // True where `c` closes it.
  bool pass(char c) {
    ++bytes;
    trimmed = is_white(c) ? trimmed : bytes;
    at_line_start = c == '\n';
    if (kind == Kind::quoted && c == '"') {
      kind = Kind::bare;
    }
    if (kind == Kind::line || kind == Kind::quoted || kind == Kind::bare) {
      return false;
    }
    if (in_string) {
      in_string = escaped || c != '"';
      escaped = !escaped && c == '\\';
    } else if (c == '"') {
      in_string = true;
    } else if (c == '{' || c == '[') {
      ++depth;
    } else if (c == '}' || c == ']') {
      return --depth == 0;
    }
    return false;
  }
};

class TextReader final : public RecordsReader {
 public:
  TextReader(std::string_view source, std::uint32_t line, const ReadOptions& options,
             std::size_t limit, bool in_turns)
      : source_(source), options_(options), limit_(limit), in_turns_(in_turns), line_(line) {}

  [[nodiscard]] std::size_t look_ahead() const override {
    return kShownBefore + limit_ + kShownAhead;
  }
  [[nodiscard]] bool done() const override { return next_ == Next::nothing; }
  [[nodiscard]] bool rests() const override { return in_turns_ && rests_; }
  void go_on(std::uint32_t line) override {
    begun_ = true;
    next_ = Next::value;
    line_ = line;
    column_ = 1;
    at_ = 0;
    rests_ = false;
  }

  std::size_t read(std::string_view text, bool last, std::size_t enough, Records& out) override {
    text_ = text;
    last_ = last;
    out_ = &out;
    if (!std::exchange(begun_, true) && text_.starts_with(utf8::kByteOrderMark)) {
      before_ = utf8::kByteOrderMark.size();
      text_.remove_prefix(before_);
    }
    const std::size_t mark = text.size() - text_.size();
    places_.emplace(text_, Origin{source_, line_, column_});
    rests_ = false;
    while (!done() && !rests() && out.records.size() < enough && out.diagnostics.size() < enough &&
           step()) {
    }
    if (done()) {
      std::ranges::move(said_.rest(), std::back_inserter(out.diagnostics));
      return text.size();
    }
    // A complaint may show what stands just before it on its line.
    const Place place = places_->place(rests() ? at_ : at_ - std::min(at_, kShownBefore));
    const std::size_t done_with = places_->offset();
    line_ = place.line;
    column_ = place.column;
    at_ -= done_with;
    before_ += done_with;
    return mark + done_with;
  }

 private:
  static constexpr std::size_t kShownBefore = 64;

  // ------------------------------------------------------------- in pieces

  // False where more of the text must be seen first.
  bool step() {
    if (next_ == Next::inside_large) {
      return pass_large();
    }
    if (next_ == Next::rest_of_line || next_ == Next::junk) {
      at_ = std::min(text_.find_first_of(next_ == Next::junk ? "\n" : "\n{", at_), text_.size());
      if (at_ == text_.size() && !last_) {
        return false;
      }
      next_ = next_ == Next::junk ? Next::junk_line : Next::after_value;
      return true;
    }
    at_ = next_ == Next::after_value ? skip_blanks(text_, at_) : skip_white(text_, at_);
    if (!last_ && text_.size() - at_ < limit_ + kShownAhead && !is_clear()) {
      return false;
    }
    take_step();
    return true;
  }

  // Whether what follows would change nothing: whoever writes slowly is not kept waiting.
  [[nodiscard]] bool is_clear() const {
    if (at_ == text_.size() ||
        (next_ != Next::start && next_ != Next::value && next_ != Next::after_value)) {
      return false;
    }
    const char c = text_[at_];
    if (next_ != Next::value && opens(c)) {
      return true;
    }
    if (next_ == Next::start) {
      return false;
    }
    const std::string_view seen = window();
    const std::size_t end = line_end(seen, at_);
    return end < seen.size() && c != '[' &&
           (c != '{' || balanced(seen.substr(0, end), at_).closed || is_cut_short(seen, end));
  }

  void take_step() {
    const char c = at_ < text_.size() ? text_[at_] : '\0';
    const bool ended = at_ == text_.size();
    switch (next_) {
      case Next::start:
        start();
        break;
      case Next::element:
        if (ended) {
          unexpected(at_, !any_element_ || comma_before_ ? "a record or \"]\"" : "\",\" or \"]\"",
                     "the list of records is cut short");
          next_ = Next::nothing;
        } else if (c == ']') {
          end_array();
        } else if (c == ',' || c == '}') {
          unexpected(at_, "a record or \"]\"", c == ',' ? "take out one comma" : "");
          ++at_;
        } else {
          any_element_ = true;
          comma_before_ = false;
          read_element();
        }
        break;
      case Next::after:
        after_element(c, ended);
        break;
      case Next::after_comma:
        if (c == ']') {
          say(*std::move(at_comma_));
        }
        next_ = Next::element;
        break;
      case Next::value:
        value(c, ended);
        break;
      case Next::after_value:
        after_value(c, ended);
        break;
      case Next::junk_line:
        next_ = ended ? Next::nothing : (c == '{' ? Next::value : Next::junk);
        break;
      default:  // `step` has done them
        break;
    }
  }

  // What is looked at for a record that begins at `at_`.
  [[nodiscard]] std::string_view window() const {
    return text_.substr(0, at_ + std::min(limit_, text_.size() - at_));
  }
  [[nodiscard]] bool reaches_end(std::string_view window) const {
    return window.size() == text_.size();
  }

  void begin_large(Large::Kind kind) {
    const Place place = places_->place(at_);
    large_ = {.kind = kind,
              .complaint = located::too_large(text_.substr(at_),
                                              {source_, place.line, place.column}, limit_)};
    if (kind == Large::Kind::quoted) {
      large_.pass('\0');  // the quote that opens
      ++at_;
    }
    after_large_ = next_;
    next_ = Next::inside_large;
  }

  bool pass_large() {
    bool closed = false;
    bool ended = false;
    while (at_ < text_.size() && !closed) {
      ended = large_.ends_before(text_[at_]);
      if (ended) {
        break;
      }
      closed = large_.pass(text_[at_++]);
    }
    if (!closed && !ended && !last_) {
      return false;
    }
    const bool all =
        closed || large_.kind == Large::Kind::bare || large_.kind == Large::Kind::quoted;
    large_.complaint.message = located::size_held(all ? large_.bytes : large_.trimmed);
    out_->rejected_at_least = out_->rejected_at_least || !closed;
    say(std::move(large_.complaint));
    ++out_->rejected;
    if (after_large_ == Next::element) {
      next_ = Next::after;
    } else {
      next_ = closed ? Next::after_value : Next::value;
      after_list_ = false;
    }
    return true;
  }

  // ------------------------------------------------------------ complaints

  void say(Diagnostic diagnostic) {
    complained_ = true;
    if (options_.list_all || said_.lists(diagnostic)) {
      out_->diagnostics.push_back(std::move(diagnostic));
    }
  }
  void refuse(std::size_t at, std::string_view code, std::string message, std::string_view hint) {
    Diagnostic d = places_->complaint(at, code, std::move(message));
    d.hint = hint;
    say(std::move(d));
  }
  [[nodiscard]] Diagnostic not_expected(std::size_t at, std::string_view expected,
                                        std::string_view hint) {
    Diagnostic d = places_->complaint(
        at, "syntax", fmt::format("expected {}, found {}", expected, utf8::found_at(text_, at)));
    d.hint = hint;
    return d;
  }
  void unexpected(std::size_t at, std::string_view expected, std::string_view hint) {
    say(not_expected(at, expected, hint));
  }
  void more_text(std::string_view hint) {
    refuse(at_, "trailing-text",
           fmt::format("more text follows the {}", after_list_ ? "list of records" : "record"),
           hint);
  }

  Result<Record> read_extent(std::size_t begin, std::size_t end) {
    const Place place = places_->place(begin);
    Result<Record> result =
        read_record(text_.substr(begin, end - begin), source_, place.line, place.column, options_);
    if (result.value) {
      result.value->begin += before_ + begin;
      result.value->end += before_ + begin;
    }
    return result;
  }
  void take(Result<Record> result) {
    std::vector<std::string> known = leave_out(result.diagnostics, options_.accepted);
    const bool is_known = !known.empty();
    std::ranges::move(known, std::back_inserter(out_->accepted));
    for (Diagnostic& d : result.diagnostics) {
      say(std::move(d));
    }
    if (result.value) {
      out_->records.push_back(*std::move(result.value));
    } else if (!is_known) {
      ++out_->rejected;
    }
  }

  // ---------------------------------------------------------------- layout

  static std::size_t line_end(std::string_view text, std::size_t at) {
    return std::min(text.find('\n', at), text.size());
  }
  static std::size_t skip_blanks(std::string_view text, std::size_t at) {
    return std::min(text.find_first_not_of(" \t\r", at), text.size());
  }

  void start() {
    if (at_ == text_.size()) {
      refuse(at_, "empty", "holds no record", "");
      next_ = Next::nothing;
    } else if (opens(text_[at_])) {
      next_ = Next::value;
    } else {
      const Likeness is = likeness(window().substr(at_));
      if (!is.certain && has_later_object()) {
        next_ = Next::value;
        return;
      }
      const bool whole = reaches_end(window());
      refuse(at_, "not-json", fmt::format("looks like {}, not like a record", is.looks_like),
             is.hint);
      if (is.certain) {                            // the first complaint of all is listed
        out_->diagnostics.back().excerpt.clear();  // bytes that mean nothing as text
      }
      ++out_->rejected;
      out_->rejected_at_least = true;
      next_ = is.certain || whole ? Next::nothing : Next::junk;
    }
  }

  [[nodiscard]] bool has_later_object() const {
    const std::string_view seen = window();
    std::size_t at = at_;
    while ((at = line_end(seen, at)) < seen.size()) {
      at = skip_white(seen, at);
      if (at < seen.size() && seen[at] == '{') {
        return true;
      }
    }
    return false;
  }

  // ---------------------------------------------- values one after another

  static bool opens(char c) { return c == '{' || c == '['; }

  void value(char c, bool ended) {
    after_list_ = false;
    if (ended) {
      next_ = Next::nothing;
    } else if (c == '{') {
      read_value();
    } else if (c == '[') {
      at_bracket_ = places_->complaint(at_, "empty", "holds no record");
      complained_ = false;
      any_element_ = false;
      comma_before_ = false;
      ++at_;
      next_ = Next::element;
    } else if (c == ',') {
      after_value(c, ended);
    } else {
      read_junk();
    }
  }

  void after_value(char c, bool ended) {
    if (ended) {
      next_ = Next::nothing;
    } else if (c == '\n') {
      ++at_;
      next_ = Next::value;
      rests_ = others_may_read();
    } else if (opens(c)) {
      next_ = Next::value;
    } else if (c == ',') {
      more_text("records on lines have no comma between them");
      ++at_;
      next_ = Next::after_value;
    } else {
      more_text("");
      out_->rejected_at_least = true;
      next_ = Next::rest_of_line;
    }
  }

  void take_value(std::size_t end) {
    take(read_extent(at_, end));
    at_ = end;
    next_ = Next::after_value;
  }

  // Whether the line at `at_` holds records alone, as far as it is there.
  [[nodiscard]] bool others_may_read() const {
    const std::size_t end = line_end(text_, at_);
    return end == text_.size() || holds_whole_objects(text_.substr(at_, end - at_));
  }

  // What is broken over several lines may have been several records.
  void take_broken(std::size_t line_end, std::size_t end) {
    take(read_extent(at_, end));
    out_->rejected_at_least = out_->rejected_at_least || line_end < end;
  }

  // A record on a line, or on several. One that is broken ends where another value seems to begin.
  void read_value() {
    const std::string_view seen = window();
    const std::size_t end = line_end(seen, at_);
    if (const Extent object = balanced(seen.substr(0, end), at_); object.closed) {
      take_value(object.end);
      return;
    }
    const bool cut_short = is_cut_short(seen, end);
    const std::size_t next = cut_short ? skip_white(seen, end) : next_value(seen, end);
    if (const Extent object = balanced(seen.substr(0, next), at_); object.closed) {
      take_value(object.end);
    } else if (next < seen.size()) {
      if (cut_short || !took_exactly(seen)) {
        take_broken(end, trim_white(seen, next));
        at_ = next;
        next_ = Next::value;
        rests_ = others_may_read();
      }
    } else if (reaches_end(seen)) {
      take_broken(end, trim_white(seen, seen.size()));
      at_ = seen.size();
      next_ = Next::nothing;
    } else {
      begin_large(end < seen.size() ? Large::Kind::value : Large::Kind::value_on_line);
    }
  }

  // Whether the object that begins at `at_`, and is not closed on its line, ends with it: the next
  // line begins with a brace, and no bracket, colon or comma waits for one.
  [[nodiscard]] bool is_cut_short(std::string_view seen, std::size_t end) const {
    const std::size_t next = skip_white(seen, end);
    const std::size_t last = trim_white(seen, end);
    return next < seen.size() && seen[next] == '{' && last > at_ &&
           std::string_view("[:,").find(seen[last - 1]) == std::string_view::npos;
  }

  // The next line, or the end, that begins with a bracket no further to the right than the line on
  // which `at_` stands.
  [[nodiscard]] std::size_t next_value(std::string_view seen, std::size_t end) const {
    const std::size_t indent = indentation();
    while (end < seen.size()) {
      const std::size_t begin = end + 1;
      const std::size_t first = skip_blanks(seen, begin);
      if (first < seen.size() && opens(seen[first]) && first - begin <= indent) {
        return first;
      }
      end = line_end(seen, begin);
    }
    return seen.size();
  }

  // White space before `at_` on its line; none where something else stands there, or it is long.
  [[nodiscard]] std::size_t indentation() const {
    constexpr std::size_t kMost = kShownBefore - 4;  // so much of the text before is kept for sure
    std::size_t begin = at_;
    while (begin > 0 && at_ - begin <= kMost &&
           (text_[begin - 1] == ' ' || text_[begin - 1] == '\t')) {
      --begin;
    }
    return at_ - begin <= kMost && (begin == 0 || text_[begin - 1] == '\n') ? at_ - begin : 0;
  }

  // Takes what is well-formed although a line within it looks like the next value.
  bool took_exactly(std::string_view seen) {
    if (exact_tries_ > 0) {
      if (const Extent exact = balanced(seen, at_); exact.closed) {
        Result<Record> result = read_extent(at_, exact.end);
        if (!was_cut_wrong(result)) {
          take(std::move(result));
          at_ = exact.end;
          next_ = next_ == Next::element ? Next::after : Next::after_value;
          return true;
        }
      }
      --exact_tries_;
    }
    return false;
  }

  // A line that begins no value.
  void read_junk() {
    const std::string_view seen = window();
    const std::size_t end = line_end(seen, at_);
    if (end == seen.size() && !reaches_end(seen)) {
      begin_large(Large::Kind::line);
      return;
    }
    take_value(trim_white(seen, end));
  }

  // ----------------------------------------------------------------- array

  void after_element(char c, bool ended) {
    if (ended || c == ']') {
      next_ = Next::element;
    } else if (c == '}') {
      unexpected(at_, "\",\" or \"]\"", "take out the brace");
      ++at_;
    } else if (c == ',') {
      comma_before_ = true;
      const std::size_t next = skip_white(text_, at_ + 1);
      if (next < text_.size() && text_[next] != ']') {
        at_ = next;
        next_ = Next::element;
      } else {
        at_comma_ = not_expected(at_, "\"]\"", "take out the comma");
        ++at_;
        next_ = Next::after_comma;
      }
    } else {
      unexpected(at_, "\",\" or \"]\"", "put a comma between records");
      next_ = Next::element;
    }
  }

  void end_array() {
    if (!any_element_ && !complained_) {
      say(std::move(at_bracket_));
    }
    ++at_;
    after_list_ = true;
    next_ = Next::after_value;
  }

  void read_element() {
    const std::string_view seen = window();
    if (text_[at_] != '{' && text_[at_] != '[') {
      read_scalar(seen);
      return;
    }
    if (took_exactly(seen)) {
      return;
    }
    const std::size_t next = next_value(seen, line_end(seen, at_));
    const Extent element = resynchronised(seen.substr(0, next), at_);
    if (element.ended || next < seen.size() || reaches_end(seen)) {
      take(read_extent(at_, trim_white(seen, element.end)));
      out_->rejected_at_least = out_->rejected_at_least || !element.closed;
      at_ = element.end;
      next_ = Next::after;
    } else {
      begin_large(Large::Kind::element);
    }
  }
  static bool was_cut_wrong(const Result<Record>& result) {
    return std::ranges::any_of(result.diagnostics, [](const Diagnostic& d) {
      return d.code == "syntax" || d.code == "size" || d.code == "utf-8";
    });
  }

  void read_scalar(std::string_view seen) {
    const bool quoted = text_[at_] == '"';
    std::size_t end = at_;
    if (quoted) {
      end = std::min(seen.find_first_of("\"\n", at_ + 1), seen.size());
    }
    end = std::min(seen.find_first_of(kEndsScalar, end), seen.size());
    if (end == seen.size() && !reaches_end(seen)) {
      begin_large(quoted ? Large::Kind::quoted : Large::Kind::bare);
      return;
    }
    end = std::max(end, at_ + 1);
    take(read_extent(at_, end));
    at_ = end;
    next_ = Next::after;
  }

  std::string source_;
  const ReadOptions& options_;
  std::size_t limit_;
  bool in_turns_;

  // The piece that is being read.
  std::string_view text_;
  bool last_ = false;
  std::size_t at_ = 0;
  std::optional<Places> places_;
  Records* out_ = nullptr;

  // What is known of the pieces before. `before_` counts bytes before `text_`.
  bool begun_ = false;
  Next next_ = Next::start;
  std::size_t before_ = 0;
  std::uint32_t line_;
  std::uint32_t column_ = 1;
  bool rests_ = false;  // at the start of a line, between values
  Complaints said_;
  bool complained_ = false;  // about the array
  bool any_element_ = false;
  bool comma_before_ = false;
  bool after_list_ = false;
  Diagnostic at_bracket_;               // what to say where its array proves to be empty
  std::optional<Diagnostic> at_comma_;  // and where no record follows this comma
  Large large_;
  Next after_large_ = Next::start;
  int exact_tries_ = kExactTries;
};

}  // namespace

bool holds_whole_objects(std::string_view line) {
  std::size_t at = skip_white(line, 0);
  while (at < line.size() && line[at] == '{') {
    const Extent object = balanced(line, at);
    if (!object.closed) {
      return false;
    }
    at = skip_white(line, object.end);
  }
  return at == line.size();
}

std::unique_ptr<RecordsReader> records_reader(std::string_view source, std::uint32_t line,
                                              const ReadOptions& options, std::size_t limit,
                                              bool in_turns) {
  return std::make_unique<TextReader>(source, line, options, limit, in_turns);
}

Records read_records(std::string_view text, std::string_view source, const ReadOptions& options) {
  Records out;
  records_reader(source, 1, options)->read(text, true, std::string_view::npos, out);
  return out;
}

}  // namespace dryshaft
