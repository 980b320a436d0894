#include <fmt/format.h>

#include <algorithm>
#include <cstdint>
#include <memory>
#include <optional>
#include <utility>

#include "base/located_json.hpp"
#include "base/places.hpp"
#include "base/utf8.hpp"
#include "dryshaft/record.hpp"
#include "record/layout.hpp"
#include "record/pieces.hpp"

namespace dryshaft {
namespace {

constexpr std::string_view kSeveral = "put several records in an array, or one on each line";
// Elements of an array that may turn out broken before the exact way of finding
// an element's end, which can run as far as a record may, is no longer tried.
constexpr int kExactTries = 16;
// Where an element ends that is no object or array.
constexpr std::string_view kEndsScalar = ",]{}[\n";

// What a text's layout allows next. Each step looks no further ahead than `look_ahead`.
enum class Next : std::uint8_t {
  start,
  element,        // of an array, or its end
  after,          // an element of an array
  after_comma,    // of an array, where perhaps none follows
  line,           // a record on a line
  after_on_line,  // what follows it there
  rest_of_line,
  junk,  // until a line begins with a brace
  junk_line,
  after_single,
  after_array,
  inside_large,  // what holds more bytes than a record may
  nothing
};

// What holds more bytes than a record may, passed over without keeping it.
struct Large {
  enum class Kind : std::uint8_t { value, value_on_line, line, quoted, bare };
  Kind kind = Kind::value;
  Diagnostic complaint = {};
  std::size_t bytes = 0;
  std::size_t trimmed = 0;  // the same without white space at the end
  std::size_t depth = 0;
  bool in_string = false;
  bool escaped = false;

  [[nodiscard]] bool ends_before(char c) const {
    switch (kind) {
      case Kind::value:
        return false;
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
    if (kind == Kind::quoted && c == '"') {
      kind = Kind::bare;
    }
    if (kind != Kind::value && kind != Kind::value_on_line) {
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

class TextReader final : public PieceReader {
 public:
  TextReader(std::string_view source, std::uint32_t line, const ReadOptions& options,
             std::size_t limit)
      : source_(source), options_(options), limit_(limit), line_(line) {}

  [[nodiscard]] std::size_t look_ahead() const override {
    return kShownBefore + limit_ + kShownAhead;
  }
  [[nodiscard]] bool done() const override { return next_ == Next::nothing; }

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
    while (!done() && out.records.size() < enough && out.diagnostics.size() < enough && step()) {
    }
    if (done()) {
      return text.size();
    }
    // A complaint may show what stands just before it.
    const Place place = places_->place(at_ - std::min(at_, kShownBefore));
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
      at_ = line_end(text_, at_);
      if (at_ == text_.size() && !last_) {
        return false;
      }
      next_ = next_ == Next::junk ? Next::junk_line : Next::line;
      return true;
    }
    at_ = next_ == Next::after_on_line ? skip_blanks(at_) : skip_white(text_, at_);
    if (!last_ && text_.size() - at_ < limit_ + kShownAhead) {
      return false;
    }
    take_step();
    return true;
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
      case Next::line:
        if (ended) {
          next_ = Next::nothing;
        } else {
          read_line();
        }
        break;
      case Next::after_on_line:
        if (ended || c == '\n') {
          next_ = Next::line;
        } else {
          more_text(c, "more text follows the record", Next::rest_of_line);
        }
        break;
      case Next::junk_line:
        next_ = ended ? Next::nothing : (c == '{' ? Next::line : Next::junk);
        break;
      case Next::after_single:
        if (!ended) {
          more_text(c, "more text follows the record", Next::nothing);
        }
        next_ = Next::nothing;
        break;
      case Next::after_array:
        if (!ended) {
          refuse(at_, "trailing-text", "more text follows the list of records", "");
          out_->rejected += c == '{' ? 1 : 0;
        }
        next_ = Next::nothing;
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
    say(std::move(large_.complaint));
    ++out_->rejected;
    switch (after_large_) {
      case Next::element:
        next_ = Next::after;
        break;
      case Next::line:
        next_ = closed ? Next::after_on_line : Next::line;
        break;
      default:
        next_ = closed ? Next::after_single : Next::nothing;
        break;
    }
    return true;
  }

  // ------------------------------------------------------------ complaints

  void say(Diagnostic diagnostic) {
    complained_ = true;
    out_->diagnostics.push_back(std::move(diagnostic));
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
  void more_text(char c, std::string_view message, Next then) {
    refuse(at_, "trailing-text", std::string(message),
           c == '{'   ? kSeveral
           : c == ',' ? "records on lines have no comma between them"
                      : "");
    out_->rejected += c == '{' ? 1 : 0;
    next_ = then;
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
    for (Diagnostic& d : result.diagnostics) {
      say(std::move(d));
    }
    if (result.value) {
      out_->records.push_back(*std::move(result.value));
    } else {
      ++out_->rejected;
    }
  }

  // ---------------------------------------------------------------- layout

  static std::size_t line_end(std::string_view text, std::size_t at) {
    return std::min(text.find('\n', at), text.size());
  }
  [[nodiscard]] std::size_t skip_blanks(std::size_t at) const {
    return std::min(text_.find_first_not_of(" \t\r", at), text_.size());
  }

  void start() {
    if (at_ == text_.size()) {
      refuse(at_, "empty", "holds no record", "");
      next_ = Next::nothing;
    } else if (text_[at_] == '[') {
      at_bracket_ = places_->complaint(at_, "empty", "holds no record");
      ++at_;
      next_ = Next::element;
    } else if (text_[at_] == '{') {
      if (begins_as_lines()) {
        next_ = Next::line;
      } else {
        read_single();
      }
    } else {
      const Likeness is = likeness(window().substr(at_));
      if (!is.certain && has_later_object()) {
        next_ = Next::line;
        return;
      }
      const bool whole = reaches_end(window());
      refuse(at_, "not-json", fmt::format("looks like {}, not like a record", is.looks_like),
             is.hint);
      if (is.certain) {
        out_->diagnostics.back().excerpt.clear();  // bytes that mean nothing as text
      }
      ++out_->rejected;
      next_ = is.certain || whole ? Next::nothing : Next::junk;
    }
  }

  [[nodiscard]] bool begins_as_lines() const {
    const std::string_view seen = window();
    const std::size_t end = line_end(seen, at_);
    if (is_complete_object(seen.substr(at_, end - at_)) ||
        (end == seen.size() && !reaches_end(seen))) {
      return true;
    }
    return seen.substr(skip_white(seen, end)).starts_with("{\"");
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

  void read_single() {
    const std::string_view seen = window();
    const Extent object = balanced(seen, at_);
    if (object.ended) {
      take(read_extent(at_, object.end));
      at_ = object.end;
      next_ = Next::after_single;
    } else if (reaches_end(seen)) {
      take(read_extent(at_, trim_white(seen, object.end)));
      next_ = Next::nothing;
    } else {
      begin_large(Large::Kind::value);
    }
  }

  void read_line() {
    const std::string_view seen = window();
    const std::size_t end = line_end(seen, at_);
    const bool whole = end < seen.size() || reaches_end(seen);
    const bool is_object = text_[at_] == '{';
    const Extent object = is_object ? balanced(seen.substr(0, end), at_) : Extent{};
    if (object.closed) {
      take(read_extent(at_, object.end));
      at_ = object.end;
      next_ = Next::after_on_line;
    } else if (whole) {
      take(read_extent(at_, trim_white(seen, end)));
      at_ = end;
    } else {
      begin_large(is_object ? Large::Kind::value_on_line : Large::Kind::line);
    }
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
    next_ = Next::after_array;
  }

  void read_element() {
    const std::string_view seen = window();
    if (text_[at_] != '{' && text_[at_] != '[') {
      read_scalar(seen);
      return;
    }
    if (exact_tries_ > 0) {
      const Extent exact = balanced(seen, at_);
      if (exact.closed) {
        Result<Record> result = read_extent(at_, exact.end);
        if (!was_cut_wrong(result)) {
          take(std::move(result));
          at_ = exact.end;
          next_ = Next::after;
          return;
        }
      }
      --exact_tries_;
    }
    const Extent element = resynchronised(seen, at_);
    if (element.ended || reaches_end(seen)) {
      take(read_extent(at_, trim_white(seen, element.end)));
      at_ = element.end;
      next_ = Next::after;
    } else {
      begin_large(Large::Kind::value);
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
  bool complained_ = false;
  bool any_element_ = false;
  bool comma_before_ = false;
  Diagnostic at_bracket_;               // what to say where its array proves to be empty
  std::optional<Diagnostic> at_comma_;  // and where no record follows this comma
  Large large_;
  Next after_large_ = Next::start;
  int exact_tries_ = kExactTries;
};

}  // namespace

bool is_complete_object(std::string_view first_line) {
  const std::size_t begin = skip_white(first_line, 0);
  return begin < first_line.size() && first_line[begin] == '{' &&
         balanced(first_line, begin).closed;
}

std::unique_ptr<PieceReader> records_reader(std::string_view source, std::uint32_t line,
                                            const ReadOptions& options, std::size_t limit) {
  return std::make_unique<TextReader>(source, line, options, limit);
}

Records read_records(std::string_view text, std::string_view source, const ReadOptions& options) {
  Records out;
  records_reader(source, 1, options)->read(text, true, std::string_view::npos, out);
  return out;
}

}  // namespace dryshaft
