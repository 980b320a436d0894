#include <fmt/format.h>

#include "dryshaft/knowledge.hpp"

namespace dryshaft {
namespace {

std::string either(const std::vector<std::string>& words) {
  return fmt::format("{}", fmt::join(words, " or "));
}

std::string is_one_of(std::string_view what, unsigned mask, std::span<const Choice> values,
                      bool with_not_observed) {
  std::vector<std::string> words;
  if (with_not_observed) {
    if ((mask & 1U) != 0) {
      words.emplace_back("not observed");
    }
    mask >>= 1U;
  }
  for (std::size_t i = 0; i < values.size(); ++i) {
    if ((mask >> i & 1U) != 0) {
      words.emplace_back(values[i].id);
    }
  }
  return fmt::format("{} is {}", what, either(words));
}

std::string bracketed(const std::vector<Condition>& list, std::string_view between) {
  std::vector<std::string> parts;
  parts.reserve(list.size());
  for (const Condition& c : list) {
    parts.push_back(describe(c));
  }
  return parts.size() == 1 ? parts.front()
                           : fmt::format("({})", fmt::join(parts, fmt::format("; {} ", between)));
}

}  // namespace

std::string describe(const Condition& c) {
  std::vector<std::string> parts;
  constexpr unsigned kAllGrades = 0x1F;
  if (c.grades != kAllGrades) {
    std::vector<std::string> grades;
    for (std::size_t g = 0; g < kGradeCount; ++g) {
      if ((c.grades >> g & 1U) != 0) {
        grades.emplace_back(name(static_cast<Grade>(g)));
      }
    }
    parts.push_back("the grade is " + either(grades));
  }
  for (const Condition::FindingIs& f : c.findings) {
    parts.push_back(is_one_of(name(f.finding), f.levels, spec(f.finding).levels, true));
  }
  for (const Condition::SituationIs& s : c.situations) {
    parts.push_back(is_one_of(spec(s.situation).name, s.values, spec(s.situation).values, false));
  }
  for (const Condition::CauseIs& p : c.causes) {
    if (p.at_least > 0) {
      parts.push_back(fmt::format("{} has at least {:g} %", name(p.cause), p.at_least * 100));
    }
    if (p.below <= 1) {
      parts.push_back(fmt::format("{} has less than {:g} %", name(p.cause), p.below * 100));
    }
  }
  for (const std::vector<Condition>& any : c.any) {
    parts.push_back(bracketed(any, "or"));
  }
  if (!c.none.empty()) {
    parts.push_back("not: " + bracketed(c.none, "or"));
  }
  return parts.empty() ? "always" : fmt::format("{}", fmt::join(parts, ", and "));
}

}  // namespace dryshaft
