// Intervals from a table: CSV (RFC 4180) with columns by name.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/complaints.hpp"
#include "base/number.hpp"
#include "base/places.hpp"
#include "base/utf8.hpp"
#include "dryshaft/onset.hpp"

namespace dryshaft {
namespace {

constexpr std::size_t kMostTableRows = 2000000;
constexpr double kLargestNumber = 1e300;

class OnsetTableReader {
 public:
  OnsetTableReader(std::string_view text, std::string_view source, OnsetAxis axis,
                   std::string_view by)
      : text_(text), source_(source), places_(text, Origin{source}) {
    data_.axis = axis;
    data_.by = by;
  }

  Result<OnsetData> read() {
    if (text_.starts_with(utf8::kByteOrderMark)) {
      at_ = utf8::kByteOrderMark.size();
    }
    if (const std::size_t bad = utf8::first_invalid(text_); bad != text_.size()) {
      complain(bad, "bad-utf8", "holds bytes that are not UTF-8");
      return std::move(result_);
    }
    do {
      if (!row()) {
        complain(std::min(at_, text_.size()), "no-table", "holds no header").allowed = kHeader;
        return std::move(result_);
      }
    } while (blank());
    if (!header()) {
      return std::move(result_);
    }
    double units = 0;
    while (row()) {
      if (blank()) {
        continue;
      }
      if (data_.intervals.size() >= kMostTableRows) {
        complain(cells_.front().begin, "too-long",
                 fmt::format("holds more than {} rows", kMostTableRows));
        break;
      }
      if (take()) {
        units += data_.intervals.back().count;
        if (units > kMostOnsetUnits) {
          complain(cells_.front().begin, "too-long",
                   fmt::format("holds more than {:.0f} units up to here", kMostOnsetUnits));
          break;
        }
      }
    }
    if (result_.diagnostics.empty() && data_.intervals.empty()) {
      complain(std::min(at_, text_.size()), "no-table", "no rows follow the header");
    }
    data_.units = static_cast<std::size_t>(units);
    if (!result_.has_errors()) {
      result_.value = std::move(data_);
    }
    return std::move(result_);
  }

 private:
  static constexpr std::string_view kHeader =
      "columns named left, right and count (count may be missing), separated by commas";
  static constexpr std::string_view kNumberShape = "a number from 0, inf, or nothing";

  struct TableCell {
    std::size_t begin = 0;
    std::string text;
  };

  Diagnostic& complain(std::size_t at, std::string_view code, std::string message) {
    return add_complaint(result_.diagnostics, places_.complaint(at, code, std::move(message)));
  }

  // Splits the next row into cells; false at the end. Quoted cells may hold commas,
  // line ends and doubled quotes.
  bool row() {
    cells_.clear();
    if (at_ >= text_.size()) {
      return false;
    }
    for (;;) {
      TableCell cell{at_, {}};
      if (at_ < text_.size() && text_[at_] == '"') {
        ++at_;
        while (at_ < text_.size()) {
          if (text_[at_] != '"') {
            cell.text += text_[at_++];
          } else if (at_ + 1 < text_.size() && text_[at_ + 1] == '"') {
            cell.text += '"';
            at_ += 2;
          } else {
            break;
          }
        }
        if (at_ >= text_.size()) {
          complain(cell.begin, "bad-quote", "a quoted cell has no end");
          cells_.push_back(std::move(cell));
          return true;
        }
        ++at_;
        const std::size_t after = std::min(text_.find_first_of(",\r\n", at_), text_.size());
        if (text_.substr(at_, after - at_).find_first_not_of(" \t") != std::string_view::npos) {
          complain(at_, "bad-quote", "text follows a quoted cell");
        }
        at_ = after;
      } else {
        const std::size_t end = std::min(text_.find_first_of(",\r\n", at_), text_.size());
        std::size_t first = at_;
        std::size_t last = end;
        while (first < last && (text_[first] == ' ' || text_[first] == '\t')) {
          ++first;
        }
        while (last > first && (text_[last - 1] == ' ' || text_[last - 1] == '\t')) {
          --last;
        }
        cell.begin = first;
        cell.text = text_.substr(first, last - first);
        at_ = end;
      }
      cells_.push_back(std::move(cell));
      if (at_ < text_.size() && text_[at_] == ',') {
        ++at_;
        continue;
      }
      if (at_ < text_.size() && text_[at_] == '\r') {
        ++at_;
      }
      if (at_ < text_.size() && text_[at_] == '\n') {
        ++at_;
      }
      return true;
    }
  }

  [[nodiscard]] bool blank() const { return cells_.size() == 1 && cells_.front().text.empty(); }

  bool header() {
    std::vector<std::string_view> names;
    for (const TableCell& c : cells_) {
      if (!c.text.empty() && std::ranges::find(names, c.text) != names.end()) {
        complain(c.begin, "duplicate-column", fmt::format("column \"{}\" stands twice", c.text));
      }
      names.emplace_back(c.text);
    }
    columns_ = cells_.size();
    const auto place = [&](std::string_view wanted) {
      return static_cast<std::size_t>(std::ranges::find(names, wanted) - names.begin());
    };
    left_ = place("left");
    right_ = place("right");
    count_ = place("count");
    group_ = data_.by.empty() ? columns_ : place(data_.by);
    const auto missing = [&](std::string_view wanted) {
      Diagnostic& d = complain(cells_.front().begin, "missing-column",
                               fmt::format("there is no column \"{}\"", wanted));
      d.allowed =
          wanted == data_.by ? fmt::format("{}", fmt::join(names, ", ")) : std::string(kHeader);
      if (columns_ == 1 && names[0].find_first_of(";\t") != std::string_view::npos) {
        d.hint = "columns are separated by commas, and a number has a decimal point";
      } else {
        d.hint = did_you_mean(wanted, names);
      }
    };
    if (left_ == columns_) {
      missing("left");
    }
    if (right_ == columns_) {
      missing("right");
    }
    if (!data_.by.empty() && group_ == columns_) {
      missing(data_.by);
    }
    return result_.diagnostics.empty();
  }

  // A distance; nothing written stands for `otherwise`.
  std::optional<double> distance(const TableCell& cell, double otherwise) {
    if (cell.text.empty()) {
      return otherwise;
    }
    if (cell.text == "inf" || cell.text == "Inf" || cell.text == "INF" || cell.text == "infinity" ||
        cell.text == "Infinity") {
      return kNoEnd;
    }
    const std::optional<double> value = number_in(cell.text);
    if (!value || *value < 0 || *value > kLargestNumber) {
      complain(cell.begin, "bad-number",
               value ? fmt::format("{} is {}", cell.text, *value < 0 ? "below 0" : "too large")
                     : fmt::format("\"{}\" is no number", cell.text))
          .allowed = kNumberShape;
      return std::nullopt;
    }
    return value;
  }

  bool take() {
    if (cells_.size() != columns_) {
      complain(cells_.front().begin, "bad-row",
               fmt::format("the row has {} cells, the header {}", cells_.size(), columns_));
      return false;
    }
    const std::optional<double> left = distance(cells_[left_], 0);
    const std::optional<double> right = distance(cells_[right_], kNoEnd);
    if (!left || !right) {
      return false;
    }
    double count = 1;
    if (count_ < columns_) {
      const TableCell& cell = cells_[count_];
      const std::optional<double> value = number_in(cell.text);
      if (!value || *value < 0 || *value > kMostOnsetUnits) {
        complain(cell.begin, "bad-number",
                 cell.text.empty() ? std::string("a count is missing")
                                   : fmt::format("the count is \"{}\"", cell.text))
            .allowed = fmt::format("a number from 0 to {:.0f}", kMostOnsetUnits);
        return false;
      }
      count = *value;
    }
    if (!std::isfinite(*left)) {
      complain(cells_[left_].begin, "bad-interval", "an interval cannot begin at infinity");
      return false;
    }
    if (*left > *right) {
      Diagnostic& d = complain(cells_[left_].begin, "bad-interval",
                               fmt::format("left is {}, above right, {}", *left, *right));
      d.hint = "a leak began after left and not after right";
      return false;
    }
    if (*right == 0) {
      complain(cells_[right_].begin, "bad-interval", "a leak at 0 has no logarithm").allowed =
          "right above 0";
      return false;
    }
    OnsetInterval row;
    row.left = *left;
    row.right = *right;
    row.count = count;
    row.source = source_;
    row.line = places_.place(cells_.front().begin).line;
    if (group_ < columns_) {
      row.group = cells_[group_].text;
    }
    if (count > 0) {
      data_.intervals.push_back(std::move(row));
      return true;
    }
    return false;
  }

  std::string_view text_;
  std::string_view source_;
  Places places_;
  std::size_t at_ = 0;
  std::vector<TableCell> cells_;
  std::size_t columns_ = 0;
  std::size_t left_ = 0;
  std::size_t right_ = 0;
  std::size_t count_ = 0;
  std::size_t group_ = 0;
  OnsetData data_;
  Result<OnsetData> result_;
};

}  // namespace

Result<OnsetData> read_onset_table(std::string_view text, std::string_view source, OnsetAxis axis,
                                   std::string_view by) {
  return OnsetTableReader(text, source, axis, by).read();
}

}  // namespace dryshaft
