#include "record/cells.hpp"

#include <algorithm>

#include "base/utf8.hpp"
#include "record/layout.hpp"

namespace dryshaft {
namespace {

constexpr char kQuote = '"';

std::size_t end_of_line(std::string_view text, std::size_t at) {
  return std::min(text.find('\n', at), text.size());
}

// Where the line after that of `at` begins, or the end.
std::size_t after_line(std::string_view text, std::size_t at) {
  return std::min(end_of_line(text, at) + 1, text.size());
}

// Skips spaces, and tabs where these separate nothing.
std::size_t skip_spaces(std::string_view text, std::size_t at, char separator) {
  while (at < text.size() && (text[at] == ' ' || (text[at] == '\t' && separator != '\t'))) {
    ++at;
  }
  return at;
}

// The text of the quoted cell that opens at `at`, which is moved past its closing quote; false
// where it is never closed.
bool take_quoted(std::string_view text, std::size_t& at, std::string& out) {
  ++at;
  while (true) {
    const std::size_t quote = text.find(kQuote, at);
    if (quote == std::string_view::npos) {
      return false;
    }
    out += text.substr(at, quote - at);
    at = quote + 1;
    if (at == text.size() || text[at] != kQuote) {
      return true;
    }
    out += kQuote;  // two stand for one
    ++at;
  }
}

bool ends_cell(std::string_view text, std::size_t at, char separator) {
  return at == text.size() || text[at] == separator || text[at] == '\n' ||
         (text[at] == '\r' && (at + 1 == text.size() || text[at + 1] == '\n'));
}

}  // namespace

bool TableRow::blank() const {
  return fault.empty() && too_much.empty() &&
         std::ranges::all_of(cells, [](const TableCell& c) { return c.text.empty(); });
}

void end_with_its_line(TableRow& row, std::string_view text, std::size_t opened) {
  row.fault = "a quote that opens here is not closed on its line";
  row.fault_at = opened;
  row.next = after_line(text, opened);
}

TableRow read_row(std::string_view text, std::size_t at, char separator, std::size_t limit) {
  TableRow row{.begin = at, .next = at, .cells = {}, .fault = {}};
  const std::string_view all = text;
  text = text.substr(0, at + std::min(limit + 1, all.size() - at));  // a line end is one more
  const bool cut = text.size() < all.size();
  const auto stop = [&](std::string_view fault, std::size_t where, std::size_t opened) {
    row.fault = fault;
    row.fault_at = where;
    row.next = after_line(all, opened);
  };
  while (true) {
    TableCell cell{.begin = skip_spaces(text, at, separator), .text = {}};
    if (cell.begin < text.size() && text[cell.begin] == kQuote) {
      const std::size_t opened = cell.begin;
      at = opened;
      if (!take_quoted(text, at, cell.text)) {
        if (cut && text.find('\n', opened) == std::string_view::npos) {
          row.too_much = "bytes";
          row.next = after_line(all, opened);
        } else if (cut) {  // who knows whether it is closed further on
          end_with_its_line(row, all, opened);
        } else {
          stop("a quote that opens here is never closed", opened, opened);
        }
        return row;
      }
      const std::size_t after = skip_spaces(text, at, separator);
      if (!ends_cell(text, after, separator)) {
        // Where lines lie between, the quote is more likely one too many than a cell's text.
        if (text.substr(opened, at - opened).find('\n') != std::string_view::npos) {
          end_with_its_line(row, all, opened);
        } else {
          stop("text follows a closing quote", after, opened);
        }
        return row;
      }
      if (cell.text.find('\n') != std::string::npos) {
        row.goes_on = std::min(row.goes_on, opened);
      }
      cell.text = utf8::trim_unseen(cell.text);
      at = after;
    } else {
      const std::string_view line = text.substr(0, end_of_line(text, cell.begin));
      const std::size_t stop_at = std::min(line.find(separator, cell.begin), line.size());
      cell.text = utf8::trim_unseen(text.substr(cell.begin, stop_at - cell.begin));
      at = stop_at;
    }
    row.cells.push_back(std::move(cell));
    const bool more = at < text.size() && text[at] == separator;
    if (more && row.cells.size() < kMaxCells) {
      ++at;
      continue;
    }
    row.next = after_line(text, at);
    if (more || (cut && text[row.next - 1] != '\n')) {
      if (row.goes_on != std::string_view::npos) {
        end_with_its_line(row, all, row.goes_on);
      } else {
        row.too_much = more ? "cells" : "bytes";
        row.next = after_line(all, at);
      }
    }
    return row;
  }
}

char find_separator(std::string_view text) {
  std::string outside;  // the first row's text that stands in no quotes
  bool quoted = false;
  for (const char c : text) {
    if (c == '\n' && !quoted) {
      break;
    }
    quoted = c == kQuote ? !quoted : quoted;
    if (!quoted) {
      outside += c;
    }
  }
  char best = kSeparators.front();
  for (const char candidate : kSeparators.substr(1)) {
    if (std::ranges::count(outside, candidate) > std::ranges::count(outside, best)) {
      best = candidate;
    }
  }
  return best;
}

}  // namespace dryshaft
