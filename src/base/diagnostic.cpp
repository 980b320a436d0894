#include "dryshaft/diagnostic.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <nlohmann/json.hpp>

#include "base/json_out.hpp"
#include "base/utf8.hpp"

namespace dryshaft {
namespace {

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

// Optimal string alignment distance: insert, delete, replace, swap neighbours.
std::size_t distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> before_last(b.size() + 1);
  std::vector<std::size_t> last(b.size() + 1);
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) {
    row[j] = j;
  }
  for (std::size_t i = 1; i <= a.size(); ++i) {
    before_last.swap(last);
    last.swap(row);
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t cost = lower(a[i - 1]) == lower(b[j - 1]) ? 0 : 1;
      row[j] = std::min({last[j] + 1, row[j - 1] + 1, last[j - 1] + cost});
      if (i > 1 && j > 1 && lower(a[i - 1]) == lower(b[j - 2]) &&
          lower(a[i - 2]) == lower(b[j - 1])) {
        row[j] = std::min(row[j], before_last[j - 2] + 1);
      }
    }
  }
  return row[b.size()];
}

}  // namespace

std::string to_text(const Diagnostic& d) {
  std::string out = utf8::harmless(d.source);
  if (d.line != 0) {
    out += fmt::format("{}{}", out.empty() ? "" : ":", d.line);
  }
  if (d.column != 0) {
    out += fmt::format(":{}", d.column);
  }
  if (!out.empty()) {
    out += ": ";
  }
  out += fmt::format("{}[{}]: {}{}{}\n", d.severity == Severity::error ? "error" : "warning",
                     d.code, utf8::harmless(d.pointer, 200), d.pointer.empty() ? "" : " ",
                     utf8::harmless(d.message));
  if (!d.excerpt.empty()) {
    out += fmt::format("  {}\n  {:{}}^\n", utf8::harmless(d.excerpt), "", d.caret);
  }
  if (!d.allowed.empty()) {
    out += fmt::format("  allowed: {}\n", utf8::harmless(d.allowed));
  }
  if (!d.hint.empty()) {
    out += fmt::format("  hint: {}\n", utf8::harmless(d.hint));
  }
  return out;
}

std::string_view closest(std::string_view word, const std::vector<std::string_view>& candidates) {
  // A word of which every letter would have to change resembles nothing.
  const std::size_t reach =
      std::min(std::clamp<std::size_t>(word.size() / 3, 1, 3), word.size() - !word.empty());
  std::string_view best;
  std::size_t best_distance = reach + 1;
  for (const std::string_view candidate : candidates) {
    const std::size_t gap = word.size() > candidate.size() ? word.size() - candidate.size()
                                                           : candidate.size() - word.size();
    if (gap >= best_distance) {
      continue;
    }
    const std::size_t d = distance(word, candidate);
    if (d < best_distance) {
      best = candidate;
      best_distance = d;
    }
  }
  return best;
}

std::string did_you_mean(std::string_view word, const std::vector<std::string_view>& candidates,
                         std::string_view before) {
  const std::string_view near = closest(word, candidates);
  return near.empty() ? std::string() : fmt::format("{}did you mean \"{}\"?", before, near);
}

std::string to_json(const std::vector<Diagnostic>& complaints) {
  using Json = nlohmann::ordered_json;
  Json all = {{"format", kComplaintsFormat}, {"complaints", Json::array()}};
  for (const Diagnostic& d : complaints) {
    Json one = {{"severity", d.severity == Severity::error ? "error" : "warning"},
                {"code", d.code},
                {"message", d.message}};
    const auto text = [&](const char* name, const std::string& value) {
      if (!value.empty()) {
        one[name] = value;
      }
    };
    const auto number = [&](const char* name, std::size_t value) {
      if (value != 0) {
        one[name] = value;
      }
    };
    text("source", d.source);
    number("line", d.line);
    number("column", d.column);
    text("pointer", d.pointer);
    text("excerpt", d.excerpt);
    number("caret", d.caret);
    text("allowed", d.allowed);
    text("hint", d.hint);
    number("more", d.more);
    all["complaints"].push_back(std::move(one));
  }
  return json_out::of(all) + "\n";
}

}  // namespace dryshaft
