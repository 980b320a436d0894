#include "knowledge/condition_set.hpp"

#include <algorithm>
#include <stdexcept>

#include "base/promise.hpp"

namespace dryshaft {
namespace {

void set(ConditionSet::Bits& bits, std::size_t row) {
  bits[row / 64] |= std::uint64_t{1} << (row % 64);
}
void clear(ConditionSet::Bits& bits, std::size_t row) {
  bits[row / 64] &= ~(std::uint64_t{1} << (row % 64));
}
bool meet(const ConditionSet::Bits& a, const ConditionSet::Bits& b) {
  std::uint64_t both = 0;
  for (std::size_t w = 0; w < a.size(); ++w) {
    both |= a[w] & b[w];
  }
  return both != 0;
}

template <typename Each>
void inside(const Condition& c, Each each) {
  for (const std::vector<Condition>& list : c.any) {
    std::ranges::for_each(list, each);
  }
  std::ranges::for_each(c.none, each);
}

}  // namespace

bool holds(const Condition& c, const Facts& facts) {
  if ((c.grades >> static_cast<unsigned>(facts.grade) & 1U) == 0) {
    return false;
  }
  for (const Condition::FindingIs& f : c.findings) {
    const auto bit = static_cast<unsigned>(facts.level[static_cast<std::size_t>(f.finding)] + 1);
    if ((f.levels >> bit & 1U) == 0) {
      return false;
    }
  }
  for (const Condition::SituationIs& s : c.situations) {
    if ((s.values >> facts.situation[static_cast<std::size_t>(s.situation)] & 1U) == 0) {
      return false;
    }
  }
  for (const Condition::CauseIs& p : c.causes) {
    const double probability = facts.probability[static_cast<std::size_t>(p.cause)];
    if (probability < p.at_least || probability >= p.below) {
      return false;
    }
  }
  const auto one_holds = [&facts](const std::vector<Condition>& list) {
    return std::ranges::any_of(list, [&](const Condition& one) { return holds(one, facts); });
  };
  return std::ranges::all_of(c.any, one_holds) && !one_holds(c.none);
}

std::uint64_t asks(const Condition& c) {
  std::uint64_t asked = c.causes.empty() ? 0 : AskBits::kCauses;
  for (const Condition::FindingIs& f : c.findings) {
    asked |= AskBits::bit(f.finding);
  }
  for (const Condition::SituationIs& s : c.situations) {
    asked |= AskBits::bit(s.situation);
  }
  if (c.grades != Condition().grades) {
    asked |= AskBits::kGrade;
  }
  inside(c, [&](const Condition& one) { asked |= asks(one); });
  return asked;
}

std::size_t ConditionSet::rows(const Condition& condition) {
  std::size_t count = 1;
  inside(condition, [&](const Condition& one) { count += rows(one); });
  return count;
}

ConditionSet::ConditionSet(const std::vector<Condition>& conditions) : rows_(conditions.size()) {
  std::size_t count = 0;
  for (const Condition& c : conditions) {
    count += rows(c);
  }
  if (count > kMostRows) {
    broken_promise<std::length_error>("too many conditions in one set");
  }
  for (std::size_t row = 0; row < conditions.size(); ++row) {
    add(conditions[row], row);
  }
}

void ConditionSet::add(const Condition& c, std::size_t row) {
  for (const Condition::FindingIs& f : c.findings) {
    allow(findings_, static_cast<std::size_t>(f.finding), row, f.levels);
  }
  for (const Condition::SituationIs& s : c.situations) {
    allow(situations_, static_cast<std::size_t>(s.situation), row, s.values);
  }
  if (c.grades != Condition().grades) {
    allow(grade_, 0, row, c.grades);
  }
  if (c.causes.empty() && c.any.empty() && c.none.empty()) {
    return;
  }
  Rest rest{.row = row, .causes = c.causes, .any = {}, .none = {}};
  const auto own_rows = [this](const std::vector<Condition>& list) {
    Bits bits{};
    for (const Condition& one : list) {
      const std::size_t inner = rows_++;
      add(one, inner);
      set(bits, inner);
    }
    return bits;
  };
  for (const std::vector<Condition>& list : c.any) {
    rest.any.push_back(own_rows(list));
  }
  rest.none = own_rows(c.none);
  rests_.push_back(std::move(rest));
}

void ConditionSet::allow(std::vector<LookUp>& in, std::size_t number, std::size_t row,
                         std::uint8_t values) {
  auto at = std::ranges::find(in, number, &LookUp::number);
  if (at == in.end()) {
    LookUp all{.number = number, .allow = {}};
    for (auto& word : all.allow) {
      word.fill(~std::uint64_t{0});
    }
    at = in.insert(in.end(), all);
  }
  auto& word = at->allow[row / 64];
  for (std::size_t value = 0; value < word.size(); ++value) {
    if ((values >> value & 1U) == 0) {
      word[value] &= ~(std::uint64_t{1} << (row % 64));
    }
  }
}

ConditionSet::Bits ConditionSet::holding(const Facts& facts) const {
  Bits bits{};
  for (std::size_t word = 0; word * 64 < rows_; ++word) {
    std::uint64_t left = ~std::uint64_t{0};
    for (const LookUp& f : findings_) {
      left &= f.allow[word][static_cast<std::size_t>(facts.level[f.number] + 1)];
    }
    for (const LookUp& s : situations_) {
      left &= s.allow[word][facts.situation[s.number]];
    }
    for (const LookUp& g : grade_) {
      left &= g.allow[word][static_cast<std::size_t>(facts.grade)];
    }
    bits[word] = left;
  }
  for (const Rest& rest : rests_) {
    const bool all =
        std::ranges::all_of(rest.causes,
                            [&](const Condition::CauseIs& p) {
                              const double here =
                                  facts.probability[static_cast<std::size_t>(p.cause)];
                              return here >= p.at_least && here < p.below;
                            }) &&
        std::ranges::all_of(rest.any, [&](const Bits& any) { return meet(bits, any); }) &&
        !meet(bits, rest.none);
    if (!all) {
      clear(bits, rest.row);
    }
  }
  return bits;
}

}  // namespace dryshaft
