#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <utility>

#include "base/places.hpp"
#include "base/utf8.hpp"
#include "dryshaft/record.hpp"
#include "record/layout.hpp"

namespace dryshaft {
namespace {

constexpr std::string_view kSeveral = "put several records in an array, or one on each line";
// Elements of an array that may turn out broken before the exact way of finding
// an element's end, which can run to the end of the text, is no longer tried.
constexpr int kExactTries = 16;

class TextReader {
 public:
  // `before` counts bytes that stand before `text` and hold nothing.
  TextReader(std::string_view text, std::size_t before, std::string_view source,
             const ReadOptions& options)
      : text_(text), before_(before), places_(text, {source, 1, 1}), options_(options) {}

  Records read() {
    const std::size_t begin = skip_white(text_, 0);
    if (begin == text_.size()) {
      refuse(begin, "empty", "holds no record", "");
    } else if (text_[begin] == '[') {
      read_array(begin);
    } else if (text_[begin] == '{') {
      if (begins_as_lines(begin)) {
        read_lines(begin);
      } else {
        read_single(begin);
      }
    } else {
      const Likeness is = likeness(text_.substr(begin));
      if (!is.certain && has_later_object(begin)) {
        read_lines(begin);
      } else {
        refuse(begin, "not-json", fmt::format("looks like {}, not like a record", is.looks_like),
               is.hint);
        if (is.certain) {
          out_.diagnostics.back().excerpt.clear();  // bytes that mean nothing as text
        }
        ++out_.rejected;
      }
    }
    return std::move(out_);
  }

 private:
  void refuse(std::size_t at, std::string_view code, std::string message, std::string_view hint) {
    Diagnostic d = places_.complaint(at, code, std::move(message));
    d.hint = hint;
    out_.diagnostics.push_back(std::move(d));
  }

  Result<Record> read_extent(std::size_t begin, std::size_t end) {
    const Place place = places_.place(begin);
    Result<Record> result = read_record(text_.substr(begin, end - begin), places_.origin().source,
                                        place.line, place.column, options_);
    if (result.value) {
      result.value->begin += before_ + begin;
      result.value->end += before_ + begin;
    }
    return result;
  }
  void take(Result<Record> result) {
    std::ranges::move(result.diagnostics, std::back_inserter(out_.diagnostics));
    if (result.value) {
      out_.records.push_back(*std::move(result.value));
    } else {
      ++out_.rejected;
    }
  }

  [[nodiscard]] std::size_t line_end(std::size_t at) const {
    return std::min(text_.find('\n', at), text_.size());
  }
  [[nodiscard]] bool begins_as_lines(std::size_t begin) const {
    const std::size_t end = line_end(begin);
    if (is_complete_object(text_.substr(begin, end - begin))) {
      return true;
    }
    return text_.substr(skip_white(text_, end)).starts_with("{\"");
  }
  [[nodiscard]] bool has_later_object(std::size_t at) const {
    while ((at = line_end(at)) < text_.size()) {
      at = skip_white(text_, at);
      if (at < text_.size() && text_[at] == '{') {
        return true;
      }
    }
    return false;
  }

  // The object at `begin`, and a complaint about what else stands before `end`.
  void read_object(std::size_t begin, std::size_t end) {
    const Extent object = balanced(text_.substr(0, end), begin);
    take(read_extent(begin, object.closed ? object.end : trim_white(text_, object.end)));
    const std::size_t more = skip_white(text_.substr(0, end), object.end);
    if (!object.closed || more == end) {
      return;
    }
    const bool another = text_[more] == '{';
    refuse(more, "trailing-text", "more text follows the record",
           another              ? kSeveral
           : text_[more] == ',' ? "records on lines have no comma between them"
                                : "");
    out_.rejected += another ? 1 : 0;
  }

  void read_single(std::size_t begin) { read_object(begin, text_.size()); }

  void read_lines(std::size_t begin) {
    while (begin < text_.size()) {
      const std::size_t end = line_end(begin);
      if (text_[begin] == '{') {
        read_object(begin, end);
      } else {
        take(read_extent(begin, trim_white(text_, end)));
      }
      begin = skip_white(text_, end);
    }
  }

  void read_array(std::size_t bracket) {
    bool comma_before = false;
    std::size_t elements = 0;
    std::size_t at = skip_white(text_, bracket + 1);
    while (at < text_.size() && text_[at] != ']') {
      const char c = text_[at];
      if (c == ',' || c == '}') {
        unexpected(at, "a record or \"]\"", c == ',' ? "take out one comma" : "");
        at = skip_white(text_, at + 1);
        continue;
      }
      at = read_element(at);
      ++elements;
      at = skip_white(text_, at);
      while (at < text_.size() && text_[at] == '}') {
        unexpected(at, "\",\" or \"]\"", "take out the brace");
        at = skip_white(text_, at + 1);
      }
      comma_before = at < text_.size() && text_[at] == ',';
      if (comma_before) {
        const std::size_t comma = at;
        at = skip_white(text_, at + 1);
        if (at < text_.size() && text_[at] == ']') {
          unexpected(comma, "\"]\"", "take out the comma");
        }
      } else if (at < text_.size() && text_[at] != ']') {
        unexpected(at, "\",\" or \"]\"", "put a comma between records");
      }
    }
    if (at == text_.size()) {
      unexpected(at, elements == 0 || comma_before ? "a record or \"]\"" : "\",\" or \"]\"",
                 "the list of records is cut short");
      return;
    }
    if (elements == 0 && out_.diagnostics.empty()) {
      refuse(bracket, "empty", "holds no record", "");
    }
    const std::size_t more = skip_white(text_, at + 1);
    if (more < text_.size()) {
      refuse(more, "trailing-text", "more text follows the list of records", "");
      out_.rejected += text_[more] == '{' ? 1 : 0;
    }
  }
  void unexpected(std::size_t at, std::string_view expected, std::string_view hint) {
    refuse(at, "syntax", fmt::format("expected {}, found {}", expected, utf8::found_at(text_, at)),
           hint);
  }

  // Reads one element of an array and gives its end.
  std::size_t read_element(std::size_t begin) {
    if (text_[begin] != '{' && text_[begin] != '[') {
      const std::size_t end = scalar_end(begin);
      take(read_extent(begin, end));
      return end;
    }
    if (exact_tries_ > 0) {
      const Extent exact = balanced(text_, begin);
      Result<Record> result = read_extent(begin, exact.end);
      if (exact.closed && !was_cut_wrong(result)) {
        take(std::move(result));
        return exact.end;
      }
      --exact_tries_;
    }
    const Extent element = resynchronised(text_, begin);
    take(read_extent(begin, trim_white(text_, element.end)));
    return element.end;
  }
  static bool was_cut_wrong(const Result<Record>& result) {
    return std::ranges::any_of(result.diagnostics, [](const Diagnostic& d) {
      return d.code == "syntax" || d.code == "size" || d.code == "utf-8";
    });
  }
  [[nodiscard]] std::size_t scalar_end(std::size_t begin) const {
    std::size_t end = begin;
    if (text_[begin] == '"') {
      const std::size_t quote = text_.find_first_of("\"\n", begin + 1);
      end = quote == std::string_view::npos ? text_.size() : quote;
    }
    end = std::min(text_.find_first_of(",]{}[\n", end), text_.size());
    return std::max(end, begin + 1);
  }

  std::string_view text_;
  std::size_t before_;
  Places places_;
  const ReadOptions& options_;
  Records out_;
  int exact_tries_ = kExactTries;
};

}  // namespace

bool is_complete_object(std::string_view first_line) {
  const std::size_t begin = skip_white(first_line, 0);
  return begin < first_line.size() && first_line[begin] == '{' &&
         balanced(first_line, begin).closed;
}

Records read_records(std::string_view text, std::string_view source, const ReadOptions& options) {
  const std::size_t before =
      text.starts_with(utf8::kByteOrderMark) ? utf8::kByteOrderMark.size() : 0;
  return TextReader(text.substr(before), before, source, options).read();
}

}  // namespace dryshaft
