#include "record/layout.hpp"

#include <algorithm>
#include <vector>

#include "record/cells.hpp"

namespace dryshaft {
namespace {

constexpr std::string_view kWhite = " \t\r\n";

struct StringExtent {
  std::size_t end = 0;  // one past the closing quote, or where the search ended
  bool closed = false;
};

// The string that opens at `quote`; it ends at any of `stops`, a quote among them.
StringExtent string_extent(std::string_view text, std::size_t quote, std::string_view stops) {
  for (std::size_t i = quote + 1; i < text.size(); ++i) {
    i = text.find_first_of(stops, i);
    if (i == std::string_view::npos) {
      break;
    }
    if (text[i] == '"') {
      return {i + 1, true};
    }
    if (text[i] != '\\') {
      return {i, false};
    }
    ++i;  // what a backslash escapes
  }
  return {text.size(), false};
}

// Whether a string runs over the border between two objects: `"...}, {"`. Then
// its closing quote opens the next object's first key. Gives one past the `}`.
std::size_t border_inside(std::string_view text, std::size_t quote, std::size_t end) {
  std::size_t i = end - 1;
  for (const char expected : {'{', ',', '}'}) {
    const std::size_t last = text.find_last_not_of(kWhite, i - 1);
    if (last == std::string_view::npos || last <= quote || text[last] != expected) {
      return std::string_view::npos;
    }
    i = last;
  }
  return i + 1;
}

}  // namespace

bool is_white(char c) { return kWhite.find(c) != std::string_view::npos; }

std::size_t skip_white(std::string_view text, std::size_t at) {
  return std::min(text.find_first_not_of(kWhite, at), text.size());
}

std::size_t trim_white(std::string_view text, std::size_t end) {
  return text.substr(0, end).find_last_not_of(kWhite) + 1;
}

Extent balanced(std::string_view text, std::size_t begin) {
  std::size_t depth = 0;
  for (std::size_t i = begin; i < text.size(); ++i) {
    i = text.find_first_of("\"{}[]", i);
    if (i == std::string_view::npos) {
      break;
    }
    if (text[i] == '"') {
      i = string_extent(text, i, "\"\\").end - 1;
    } else if (text[i] == '{' || text[i] == '[') {
      ++depth;
    } else if (--depth == 0) {
      return {i + 1, true};
    }
  }
  return {text.size(), false, false};
}

Extent resynchronised(std::string_view text, std::size_t begin) {
  std::vector<char> open;
  for (std::size_t i = begin; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '"') {
      // A string that is not closed on its line ends there.
      const StringExtent string = string_extent(text, i, "\"\\\n");
      if (!string.closed) {
        i = string.end;
        continue;
      }
      const std::size_t border = border_inside(text, i, string.end);
      if (border != std::string_view::npos) {
        return {border, false};
      }
      i = string.end - 1;
    } else if (c == '{' || c == '[') {
      open.push_back(c);
    } else if (c == '}' || c == ']') {
      // A bracket closes the last one of its kind and all that stand inside.
      const char opening = c == '}' ? '{' : '[';
      while (!open.empty() && open.back() != opening) {
        open.pop_back();
      }
      if (open.empty()) {
        return {trim_white(text, i), false};  // it closes the array around the element
      }
      open.pop_back();
      if (open.empty()) {
        return {i + 1, true};
      }
    } else if (c == ',' && open.back() == '{') {
      // An object's comma is followed by a key, never by an object.
      const std::size_t next = skip_white(text, i + 1);
      if (next < text.size() && text[next] == '{') {
        return {trim_white(text, i), false};
      }
    }
  }
  return {trim_white(text, text.size()), false, false};
}

Likeness likeness(std::string_view text) {
  struct Mark {
    std::string_view begins;
    std::string_view looks_like;
    std::string_view hint;
  };
  static constexpr std::string_view kUnpack = "unpack it first";
  static constexpr std::string_view kSaveAsUtf8 = "save it as UTF-8";
  static constexpr std::string_view kSaveRecord = "save the record itself, not the page around it";
  static constexpr Mark kMarks[] = {
      {"\x1F\x8B", "gzip-compressed data", kUnpack},
      {"PK\x03\x04", "a zip archive or a spreadsheet",
       "unpack an archive; save a spreadsheet's sheet as CSV"},
      {"\xFF\xFE", "UTF-16 text", kSaveAsUtf8},
      {"\xFE\xFF", "UTF-16 text", kSaveAsUtf8},
      {"%PDF", "a PDF document", "export the records as JSON"},
      {"<!", "a web page", kSaveRecord},
      {"<html", "a web page", kSaveRecord},
      {"<HTML", "a web page", kSaveRecord},
      {"<", "XML", "export the records as JSON"},
  };
  for (const Mark& mark : kMarks) {
    if (text.starts_with(mark.begins)) {
      return {mark.looks_like, mark.hint, true};
    }
  }
  constexpr std::size_t kProbe = 512;
  if (text.substr(0, kProbe).find('\0') != std::string_view::npos) {
    return {"binary data", "give a text file with JSON records", true};
  }
  const std::string_view line = text.substr(0, text.find('\n'));
  for (const char separator : kSeparators) {
    if (std::ranges::count(line, separator) >= 2) {
      return {"a table of separated values", "it is read as one where its file name ends in .csv",
              false};
    }
  }
  return {"plain text", "a record is a JSON object, and begins with {", false};
}

}  // namespace dryshaft
