#include "prove/wide.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <numeric>

#include "decide/grading.hpp"
#include "dryshaft/prove.hpp"

namespace dryshaft::proof {
namespace {

// ------------------------------------------- conditions as sets of terms

// A conjunction: for each finding and situation, the values that fit.
struct Term {
  std::array<std::uint8_t, kFindingCount> levels{};
  std::array<std::uint8_t, kSituationCount> values{};
  Term() {
    levels.fill(0xFF);
    values.fill(0xFF);
  }
  void narrow(const Term& by) {
    for (std::size_t f = 0; f < kFindingCount; ++f) {
      levels[f] &= by.levels[f];
    }
    for (std::size_t s = 0; s < kSituationCount; ++s) {
      values[s] &= by.values[s];
    }
  }
};
using Terms = std::vector<Term>;  // holds where one of them does

constexpr std::size_t kMostTerms = 128;

// Puts conditions this way; `possible` says whether it could.
struct Expansion {
  bool possible = true;

  Terms all_of(const Terms& a, const Terms& b) {
    Terms both;
    for (const Term& x : a) {
      for (const Term& y : b) {
        if (both.size() > 4 * kMostTerms) {
          possible = false;
          return both;
        }
        both.push_back(x);
        both.back().narrow(y);
      }
    }
    return both;
  }

  Terms expand(const Condition& c) {
    possible = possible && c.causes.empty();
    // Floors and verdicts are asked with grade A, before there is a grade.
    if ((c.grades & 1U) == 0) {
      return {};
    }
    Term own;
    for (const Condition::FindingIs& f : c.findings) {
      own.levels[idx(f.finding)] &= f.levels;
    }
    for (const Condition::SituationIs& s : c.situations) {
      own.values[idx(s.situation)] &= s.values;
    }
    Terms terms = {own};
    for (const std::vector<Condition>& list : c.any) {
      Terms either;
      for (const Condition& one : list) {
        const Terms more = expand(one);
        either.insert(either.end(), more.begin(), more.end());
      }
      terms = all_of(terms, either);
    }
    for (const Condition& one : c.none) {
      terms = all_of(terms, negate(one));
    }
    return terms;
  }

  Terms negate(const Condition& c) {
    possible = possible && c.causes.empty();
    if ((c.grades & 1U) == 0) {
      return {Term()};
    }
    Terms terms;
    for (const Condition::FindingIs& f : c.findings) {
      Term t;
      t.levels[idx(f.finding)] = static_cast<std::uint8_t>(~f.levels);
      terms.push_back(t);
    }
    for (const Condition::SituationIs& s : c.situations) {
      Term t;
      t.values[idx(s.situation)] = static_cast<std::uint8_t>(~s.values);
      terms.push_back(t);
    }
    for (const std::vector<Condition>& list : c.any) {
      Terms no_one = {Term()};
      for (const Condition& one : list) {
        no_one = all_of(no_one, negate(one));
      }
      terms.insert(terms.end(), no_one.begin(), no_one.end());
    }
    for (const Condition& one : c.none) {
      const Terms more = expand(one);
      terms.insert(terms.end(), more.begin(), more.end());
    }
    return terms;
  }
};

struct Mask {
  std::uint64_t low = ~std::uint64_t{0};
  std::uint64_t high = ~std::uint64_t{0};
  Mask operator&(const Mask& o) const { return {low & o.low, high & o.high}; }
  [[nodiscard]] bool any() const { return (low | high) != 0; }
  void keep(std::size_t bit, bool yes) {
    if (!yes) {
      (bit < 64 ? low : high) &= ~(std::uint64_t{1} << bit % 64);
    }
  }
};

// All floors and verdicts as bits: a bit survives while its term can still hold.
class Bits {
 public:
  explicit Bits(const Knowledge& k) {
    Expansion e;
    std::vector<std::size_t> kind;  // of each term: a grade, or ungraded, or sound
    Terms all;
    const auto add = [&](const Condition& c, std::size_t of) {
      for (const Term& t : e.expand(c)) {
        all.push_back(t);
        kind.push_back(of);
      }
    };
    for (const Floor& f : k.floors) {
      add(f.when, idx(f.grade));
    }
    add(k.settings.ungraded, kUngraded);
    add(k.settings.sound, kSound);
    usable_ = e.possible && all.size() <= kMostTerms;
    if (!usable_) {
      return;
    }
    for (Mask& m : of_) {
      m = {0, 0};
    }
    for (std::size_t t = 0; t < all.size(); ++t) {
      (t < 64 ? of_.at(kind[t]).low : of_.at(kind[t]).high) |= std::uint64_t{1} << t % 64;
      for (std::size_t f = 0; f < kFindingCount; ++f) {
        for (std::size_t l = 0; l <= kMaxLevels; ++l) {
          level_[f][l].keep(t, (all[t].levels[f] >> l & 1U) != 0);
        }
      }
      for (std::size_t s = 0; s < kSituationCount; ++s) {
        for (std::size_t v = 0; v < kValues; ++v) {
          value_[s][v].keep(t, (all[t].values[s] >> v & 1U) != 0);
        }
      }
    }
  }

  [[nodiscard]] bool usable() const { return usable_; }
  [[nodiscard]] const Mask& level(Finding f, int l) const {
    return level_[idx(f)][static_cast<std::size_t>(l) + 1];
  }
  [[nodiscard]] const Mask& value(Situation s, std::size_t v) const { return value_[idx(s)][v]; }
  [[nodiscard]] Grade worst(const Mask& m) const {
    for (const Grade g : {Grade::D, Grade::C, Grade::B}) {
      if ((m & of_[idx(g)]).any()) {
        return g;
      }
    }
    return Grade::A;
  }
  [[nodiscard]] bool ungraded(const Mask& m) const { return (m & of_[kUngraded]).any(); }
  [[nodiscard]] bool sound(const Mask& m) const { return (m & of_[kSound]).any(); }

 private:
  static constexpr std::size_t kUngraded = 5;
  static constexpr std::size_t kSound = 6;
  static constexpr std::size_t kValues = 4;
  bool usable_ = true;
  std::array<Mask, 7> of_{};
  std::array<std::array<Mask, kMaxLevels + 1>, kFindingCount> level_{};
  std::array<std::array<Mask, kValues>, kSituationCount> value_{};
};

// ------------------------------------------------------------- dimensions

// What a set of findings that belong together can say.
struct Word {
  std::vector<std::pair<Finding, int>> says;  // the rest of them: not observed
  Mask mask;
  States like{};
  States graded{};  // the part of it by which the grade goes
};
struct Dimension {
  std::string name;
  std::vector<Word> words;
  struct Rise {
    std::size_t better = 0;
    std::size_t worse = 0;
    bool grade_only = false;  // a finding that only explains
  };
  std::vector<Rise> rises;
  struct Open {
    std::size_t open = 0;
    std::vector<std::size_t> known;  // one of these is no worse
    bool apart = false;              // one in risk and one in grade
  };
  std::vector<Open> opens;
};

struct Setting {
  AsBuilt unit;
  Look look;
  double km = 0;
};

class Builder {
 public:
  Builder(const Space& space, const Bits& bits, const Setting& setting)
      : space_(space), bits_(bits), setting_(setting) {}

  // The dimension of a finding and its details; where there are many, of a
  // choice of them, another one each `turn`.
  [[nodiscard]] Dimension build(const FindingSpec& leader, std::size_t turn) const {
    Dimension d;
    d.name = leader.name;
    members_ = {leader.id};
    for (const Finding f : chosen_details(leader, turn)) {
      members_.push_back(f);
      d.name += fmt::format(" and {}", name(f));
    }
    const bool liquid = leader.id == Finding::port_fluid;
    if (liquid) {  // known only next to a dry port
      members_.push_back(Finding::earlier_coolant);
    }
    Levels level = nothing_observed();
    words(0, level, d);
    const auto find = [&](const Levels& wanted) -> std::optional<std::size_t> {
      for (std::size_t w = 0; w < d.words.size(); ++w) {
        if (levels_of(d.words[w]) == wanted) {
          return w;
        }
      }
      return std::nullopt;
    };
    for (std::size_t w = 0; w < d.words.size(); ++w) {
      const Levels here = levels_of(d.words[w]);
      for (const Finding f : members_) {
        const std::int8_t l = here[idx(f)];
        Levels other = here;
        const auto rise_from = [&](int lower) {
          other[idx(f)] = static_cast<std::int8_t>(lower);
          if (const auto better = find(other)) {
            d.rises.push_back({*better, w, space_.model.explains_only(f)});
          }
        };
        if (spec(f).ordered && l >= 1) {
          rise_from(spec(f).never_absent ? -1 : l - 1);
        } else if (spec(f).ordered && l < 0) {
          rise_from(0);
        }
        if ((!spec(f).ordered || space_.model.explains_only(f)) && l < 0) {
          Dimension::Open open{w, {}, space_.model.explains_only(f)};
          for (std::size_t k = 0; k < spec(f).levels.size(); ++k) {
            other[idx(f)] = static_cast<std::int8_t>(k);
            if (const auto known = find(other)) {
              open.known.push_back(*known);
            }
          }
          if (!open.known.empty()) {
            d.opens.push_back(std::move(open));
          }
        }
      }
    }
    return d;
  }

 private:
  // In the order of the table, so that what a finding needs stands before it.
  static std::vector<Finding> chosen_details(const FindingSpec& leader, std::size_t turn) {
    constexpr std::size_t kMostJoint = 600;
    std::vector<Finding> left;
    for (const FindingSpec& f : findings()) {
      if (f.detail_of == leader.id) {
        left.push_back(f.id);
      }
    }
    std::vector<Finding> chosen;
    std::size_t joint = 1;
    // In rounds with ever larger steps, so that any two come together in some turn.
    const std::size_t count = left.size();
    for (std::size_t i = 0; i < count; ++i) {
      const std::size_t at = (turn + i * (1 + turn / count)) % left.size();
      const FindingSpec& f = spec(left[at]);
      if (joint * (f.levels.size() + 1) <= kMostJoint) {
        joint *= f.levels.size() + 1;
        chosen.push_back(f.id);
      }
      left.erase(left.begin() + static_cast<std::ptrdiff_t>(at));
    }
    std::ranges::sort(chosen);
    return chosen;
  }

  static Levels levels_of(const Word& w) {
    Levels level = nothing_observed();
    for (const auto& [f, l] : w.says) {
      level[idx(f)] = static_cast<std::int8_t>(l);
    }
    return level;
  }

  void words(std::size_t i, Levels& level, Dimension& d) const {
    if (i == members_.size()) {
      add(level, d);
      return;
    }
    const FindingSpec& f = spec(members_[i]);
    for (int l = -1; l < static_cast<int>(f.levels.size()); ++l) {
      level[idx(f.id)] = static_cast<std::int8_t>(l);
      words(i + 1, level, d);
    }
    level[idx(f.id)] = -1;
  }

  void add(const Levels& level, Dimension& d) const {
    Draft draft;
    draft.level = level;
    draft.unit = setting_.unit;
    draft.look = setting_.look;
    const bool liquid = members_.front() == Finding::port_fluid;
    if (!liquid) {
      // A port finding next to whatever the look found.
      draft.set(Finding::port_fluid, draft.look.check == PortCheck::not_made ? -1 : 0);
    } else if (level[idx(Finding::port_fluid)] < 0) {
      if (setting_.look.check != PortCheck::not_made && setting_.look.weight < 1) {
        return;
      }
      draft.look = space_.looks[0];
    }
    if (!Space::possible(draft)) {
      return;
    }
    const Case c = space_.realize(draft);
    if (c.at(Situation::configuration) != idx(dryshaft::Configuration::consistent)) {
      return;  // it would change the unit under all other findings
    }
    Word w;
    w.like.fill(1);
    w.graded.fill(1);
    for (const Finding f : members_) {
      const std::int8_t l = level[idx(f)];
      w.mask = w.mask & bits_.level(f, l);
      if (l < 0) {
        continue;
      }
      w.says.emplace_back(f, l);
      if (!space_.model.carries_evidence(f)) {
        continue;
      }
      const States& like = space_.model.likelihood(f, l);
      const bool decays = l == 0 && spec(f).at_port && spec(f).ordered;
      const bool explains = space_.model.explains_only(f);
      for (std::size_t s = 0; s < kStateCount; ++s) {
        const double factor = decays ? 1 - setting_.look.weight * (1 - like[s]) : like[s];
        w.like[s] *= factor;
        w.graded[s] *= explains ? 1 : factor;
      }
    }
    if (liquid) {
      w.mask = w.mask & bits_.value(Situation::port_check, c.at(Situation::port_check));
    }
    d.words.push_back(std::move(w));
  }

  const Space& space_;
  const Bits& bits_;
  const Setting& setting_;
  mutable std::vector<Finding> members_;
};

// ------------------------------------------------------------- the walk

struct Found {
  std::uint64_t states = 0;
  std::uint64_t comparisons = 0;
  std::optional<Breach> breach;
  std::string obstacle;
};

// Sums over states that no dimension tells apart, K of them at most.
template <std::size_t K>
class Slab {
 public:
  Slab(const Space& space, const Bits& bits, const Setting& setting,
       std::vector<const Dimension*> inner, const Draft& fixed, const States& weight,
       const States& graded_weight, const Mask& mask)
      : space_(space), bits_(bits), setting_(setting), inner_(std::move(inner)), fixed_(fixed) {
    // The longest loop innermost.
    std::ranges::stable_sort(inner_, {}, [](const Dimension* d) { return d->words.size(); });
    std::size_t size = 1;
    strides_.resize(inner_.size());
    for (std::size_t d = inner_.size(); d-- > 0;) {
      strides_[d] = size;
      size *= inner_[d]->words.size();
    }
    odds_.resize(size);
    severity_.resize(size);
    classes();
    likes_.resize(inner_.size());
    for (std::size_t d = 0; d < inner_.size(); ++d) {
      for (const Word& w : inner_[d]->words) {
        Pair like{};
        for (std::size_t k = 0; k < used_; ++k) {
          like.exact[k] = w.like[first_[k]];
          like.graded[k] = w.graded[first_[k]];
        }
        likes_[d].push_back(like);
      }
    }
    // In the last dimension, with and without damage apart.
    for (const Pair& like : likes_.back()) {
      std::array<Pair, 2> parts{};
      for (std::size_t k = 0; k < used_; ++k) {
        Pair& part = parts[damaged_[k] ? 1 : 0];
        part.exact[k] = like.exact[k];
        part.graded[k] = like.graded[k];
      }
      last_.push_back(parts);
    }
    for (std::size_t g = 0; g < 4; ++g) {
      for (std::size_t u = 0; u < 2; ++u) {
        for (std::size_t s = 0; s < 2; ++s) {
          for (std::size_t b = 0; b < 3; ++b) {
            graded_[((g * 2 + u) * 2 + s) * 3 + b] = static_cast<std::uint8_t>(dryshaft::severity(
                grade_on({static_cast<Grade>(g), u != 0, s != 0, static_cast<RiskBand>(b)})));
          }
        }
      }
    }
    Pair start{};
    for (std::size_t s = 0; s < kStateCount; ++s) {
      start.exact[class_[s]] += weight[s];
      start.graded[class_[s]] += graded_weight[s];
    }
    const Settings& settings = space_.knowledge.settings;
    raised_ = settings.risk_raised / (1 - settings.risk_raised);
    high_ = settings.risk_high / (1 - settings.risk_high);
    for (std::size_t b = 0; b < 3; ++b) {
      band_[b] = bits_.value(Situation::risk, b);
    }
    fill(0, start, mask, 0);
    found.states = size;
    agree();
  }

  Found found;

  // For the risk as reported and as graded.
  struct Pair {
    std::array<double, K> exact;
    std::array<double, K> graded;
  };

  // Whether the dimensions tell few enough states apart for K.
  static bool fits(const Space& space, const std::vector<const Dimension*>& dims) {
    return told_apart(space, dims, nullptr) <= K;
  }

 private:
  static std::size_t told_apart(const Space& space, const std::vector<const Dimension*>& dims,
                                std::array<std::size_t, kStateCount>* class_of) {
    std::vector<std::size_t> first;
    const std::uint64_t damaging = space.model.damaging_states();
    for (std::size_t s = 0; s < kStateCount; ++s) {
      const auto same = [&](std::size_t other) {
        if ((damaging >> s & 1U) != (damaging >> other & 1U)) {
          return false;
        }
        for (const Dimension* d : dims) {
          for (const Word& w : d->words) {
            if (w.like[s] != w.like[other] || w.graded[s] != w.graded[other]) {
              return false;
            }
          }
        }
        return true;
      };
      const auto known = std::ranges::find_if(first, same);
      if (class_of != nullptr) {
        (*class_of)[s] = static_cast<std::size_t>(known - first.begin());
      }
      if (known == first.end()) {
        first.push_back(s);
      }
    }
    return first.size();
  }

  void classes() {
    used_ = told_apart(space_, inner_, &class_);
    for (std::size_t s = kStateCount; s-- > 0;) {
      first_[class_[s]] = s;
      damaged_[class_[s]] = (space_.model.damaging_states() >> s & 1U) != 0;
    }
  }

  // Odds of damage, from the weights so far and the last factor.
  static double odds_of(const std::array<double, K>& weight, const std::array<double, K>& sound,
                        const std::array<double, K>& damaged) {
    double good = 0;
    double bad = 0;
    for (std::size_t k = 0; k < K; ++k) {
      good += weight[k] * sound[k];
      bad += weight[k] * damaged[k];
    }
    return bad / good;
  }

  void fill(std::size_t depth, const Pair& weight, const Mask& mask, std::size_t offset) {
    const Dimension& d = *inner_[depth];
    const std::size_t stride = strides_[depth];
    if (depth + 1 == inner_.size()) {
      for (std::size_t w = 0; w < d.words.size(); ++w) {
        const auto& [sound, damaged] = last_[w];
        const double odds = odds_of(weight.exact, sound.exact, damaged.exact);
        const double graded = odds_of(weight.graded, sound.graded, damaged.graded);
        const std::size_t band = graded >= high_ ? 2 : (graded >= raised_ ? 1 : 0);
        const Mask m = mask & d.words[w].mask & band_[band];
        const auto g = static_cast<std::size_t>(bits_.worst(m));
        odds_[offset + w] = odds;
        severity_[offset + w] =
            graded_[((g * 2 + (bits_.ungraded(m) ? 1U : 0U)) * 2 + (bits_.sound(m) ? 1U : 0U)) * 3 +
                    band];
      }
    } else {
      for (std::size_t w = 0; w < d.words.size(); ++w) {
        const Pair& like = likes_[depth][w];
        Pair next;
        for (std::size_t k = 0; k < K; ++k) {
          next.exact[k] = weight.exact[k] * like.exact[k];
          next.graded[k] = weight.graded[k] * like.graded[k];
        }
        fill(depth + 1, next, mask & d.words[w].mask, offset + w * stride);
      }
    }
    compare(depth, offset);
  }

  void compare(std::size_t depth, std::size_t offset) {
    const Dimension& d = *inner_[depth];
    const std::size_t n = strides_[depth];
    for (const Dimension::Rise& r : d.rises) {
      found.comparisons += n;
      const double* low = &odds_[offset + r.better * n];
      const double* high = &odds_[offset + r.worse * n];
      const std::uint8_t* low_grade = &severity_[offset + r.better * n];
      const std::uint8_t* high_grade = &severity_[offset + r.worse * n];
      bool wrong = false;
      for (std::size_t i = 0; i < n && !r.grade_only; ++i) {
        wrong |= high[i] < low[i] * (1 - kSlack);
      }
      for (std::size_t i = 0; i < n; ++i) {
        wrong |= high_grade[i] < low_grade[i];
      }
      for (std::size_t i = 0; wrong && i < n && !found.breach; ++i) {
        if ((!r.grade_only && falls(low[i], high[i])) || high_grade[i] < low_grade[i]) {
          report(draft_at(offset + r.worse * n + i), draft_at(offset + r.better * n + i),
                 Aim::worse_finding);
        }
      }
    }
    for (const Dimension::Open& o : d.opens) {
      found.comparisons += n * o.known.size();
      for (std::size_t i = 0; i < n; ++i) {
        const std::size_t open = offset + o.open * n + i;
        bool risk = false;
        bool grade = false;
        for (const std::size_t known : o.known) {
          const std::size_t at = offset + known * n + i;
          const bool lower = odds_[at] * (1 - kSlack) <= odds_[open];
          const bool no_worse = severity_[at] <= severity_[open];
          risk |= lower && (o.apart || no_worse);
          grade |= no_worse && (o.apart || lower);
        }
        if (!(risk && grade) && !found.breach) {
          report(draft_at(open), draft_at(offset + o.known.front() * n + i), Aim::not_observed);
        }
      }
    }
  }

  [[nodiscard]] Draft draft_at(std::size_t at) const {
    Draft d = fixed_;
    for (std::size_t k = 0; k < inner_.size(); ++k) {
      for (const auto& [f, l] : inner_[k]->words[at / strides_[k] % inner_[k]->words.size()].says) {
        d.set(f, l);
      }
    }
    if (d.at(Finding::port_fluid) < 0) {
      d.look = space_.looks[0];
    }
    return d;
  }

  void report(const Draft& worse, const Draft& better, Aim aim) {
    found.breach = Breach{aim, worse, better, worse.observed()};
  }

  // A few states judged the plain way.
  void agree() {
    constexpr std::size_t kTried = 64;
    const std::size_t step = std::max<std::size_t>(1, odds_.size() / kTried) | 1U;
    for (std::size_t at = 0; at < odds_.size(); at += step) {
      const Draft d = draft_at(at);
      const Verdict v = space_.judge(d);
      const double risk = odds_[at] / (1 + odds_[at]);
      if (!Space::possible(d) || std::abs(risk - v.posterior.risk) > 1e-9 * v.posterior.risk ||
          severity_[at] != dryshaft::severity(v.grade)) {
        found.obstacle = fmt::format(
            "the walk and the model disagree: risk {:.12g} and {:.12g}, severity {} and {}, at {}",
            risk, v.posterior.risk, severity_[at], dryshaft::severity(v.grade),
            record_of(space_.knowledge, space_.realize(d)).value_or("a case without a record"));
        return;
      }
    }
  }

  const Space& space_;
  const Bits& bits_;
  const Setting& setting_;
  std::vector<const Dimension*> inner_;
  const Draft& fixed_;
  std::vector<std::size_t> strides_;
  std::vector<double> odds_;
  std::vector<std::uint8_t> severity_;
  std::array<std::size_t, kStateCount> class_{};
  std::array<std::size_t, kStateCount> first_{};
  std::array<bool, kStateCount> damaged_{};
  std::size_t used_ = 0;
  std::vector<std::vector<Pair>> likes_;
  std::vector<std::array<Pair, 2>> last_;  // sound, damaged
  std::array<std::uint8_t, 48> graded_{};
  std::array<Mask, 3> band_{};
  double raised_ = 0;
  double high_ = 0;
};

constexpr std::size_t kSlabStates = 3'000'000;

// One setting with all its dimensions, some walked inside slabs, some outside.
struct Plan {
  Setting setting;
  std::vector<Dimension> dims;
  std::vector<std::size_t> inner;
  std::vector<std::size_t> outer;
  std::size_t outer_states = 1;
  std::size_t inner_states = 1;
  std::uint32_t members = 0;  // findings of any dimension; the rest is not observed
};

Found walk(const Space& space, const Bits& bits, const Plan& plan, std::size_t outer_at) {
  Draft fixed;
  fixed.unit = plan.setting.unit;
  fixed.look = plan.setting.look;
  fixed.km = plan.setting.km;
  const Case unit = space.realize(fixed);
  States weight = space.model.prior(unit);
  States graded = weight;
  Mask mask;
  for (const SituationSpec& s : situations()) {
    if (s.id != Situation::risk && s.id != Situation::port_check) {
      mask = mask & bits.value(s.id, unit.at(s.id));
    }
  }
  for (const FindingSpec& f : findings()) {
    if ((plan.members >> idx(f.id) & 1U) == 0) {
      mask = mask & bits.level(f.id, -1);
    }
  }
  for (const std::size_t o : plan.outer) {
    const std::vector<Word>& words = plan.dims[o].words;
    const Word& w = words[outer_at % words.size()];
    outer_at /= words.size();
    for (const auto& [f, l] : w.says) {
      fixed.set(f, l);
    }
    mask = mask & w.mask;
    for (std::size_t s = 0; s < kStateCount; ++s) {
      weight[s] *= w.like[s];
      graded[s] *= w.graded[s];
    }
  }
  std::vector<const Dimension*> inner;
  for (const std::size_t i : plan.inner) {
    inner.push_back(&plan.dims[i]);
  }
  constexpr std::size_t kFew = 8;
  if (Slab<kFew>::fits(space, inner)) {
    return Slab<kFew>(space, bits, plan.setting, inner, fixed, weight, graded, mask).found;
  }
  return Slab<kStateCount>(space, bits, plan.setting, inner, fixed, weight, graded, mask).found;
}

}  // namespace

Wide walk_wide(const Space& space, std::uint32_t mixed, std::uint64_t about, const Spread& spread) {
  Wide wide;
  const Bits bits(space.knowledge);
  if (!bits.usable()) {
    wide.obstacle = "the floors are too many, or ask for probabilities: grades cannot be walked";
    return wide;
  }
  std::vector<Finding> pure_leaders;
  std::vector<Finding> mixed_leaders;
  for (const FindingSpec& f : findings()) {
    // Earlier coolant stands with the liquid; a leak outside bears on nothing that is graded.
    if (!f.detail_of && f.id != Finding::earlier_coolant && f.id != Finding::outside_leak) {
      ((mixed >> idx(f.id) & 1U) != 0 ? mixed_leaders : pure_leaders).push_back(f.id);
    }
  }
  const auto turn = [](std::size_t i, std::size_t step, std::size_t of) {
    while (std::gcd(step, of) != 1) {  // else some would never have theirs
      ++step;
    }
    return i * step % of;
  };

  // First walk: the product of all findings on damaging causes alone, next to
  // one joint value of the others. Second: all joint values of the others, next
  // to the liquid and some of the rest. Everything else takes turns.
  std::vector<Plan> plans;
  std::array<std::size_t, 2> count{};
  std::array<std::string, 2> dims_walked;
  for (const bool second : {false, true}) {
    const std::uint64_t wanted = second ? about / 10 : about - about / 10;
    std::uint64_t planned = 0;
    for (std::size_t i = 0; planned < wanted || count.at(second ? 1 : 0) == 0; ++i) {
      Plan p;
      const std::span<const AsBuilt> units = space.configurations.described();
      p.setting = {units[turn(i, 7, units.size())], space.looks[turn(i, 1, space.looks.size())],
                   space.distances[turn(i, 3, space.distances.size())]};
      const Builder builder(space, bits, p.setting);
      std::vector<Finding> order = pure_leaders;
      // The liquid stays inside: it tells whether the port was looked at.
      std::erase(order, Finding::port_fluid);
      std::rotate(order.begin(), order.begin() + static_cast<std::ptrdiff_t>(i % order.size()),
                  order.end());
      std::vector<Finding> inside;
      if (second) {
        inside = mixed_leaders;
      }
      std::vector<Finding> outside = second ? std::vector<Finding>{} : mixed_leaders;
      if (std::ranges::find(mixed_leaders, Finding::port_fluid) == mixed_leaders.end() || !second) {
        std::erase(outside, Finding::port_fluid);
        inside.push_back(Finding::port_fluid);
      }
      std::size_t size = 1;
      for (const Finding f : inside) {
        p.dims.push_back(builder.build(spec(f), i));
        p.inner.push_back(p.dims.size() - 1);
        size *= p.dims.back().words.size();
      }
      for (const Finding f : order) {
        Dimension d = builder.build(spec(f), i);
        if (size * d.words.size() <= kSlabStates) {
          size *= d.words.size();
          p.inner.push_back(p.dims.size());
        } else if (second) {
          continue;
        } else {
          p.outer_states *= d.words.size();
          p.outer.push_back(p.dims.size());
        }
        p.dims.push_back(std::move(d));
      }
      // One joint value of the mixed findings, another each time.
      for (const Finding f : outside) {
        Dimension d = builder.build(spec(f), i);
        const Word one = d.words[turn(i, 5, d.words.size())];
        d.words = {one};
        d.rises.clear();
        d.opens.clear();
        p.outer.push_back(p.dims.size());
        p.dims.push_back(std::move(d));
      }
      for (const Dimension& d : p.dims) {
        for (const Word& w : d.words) {
          for (const auto& [f, l] : w.says) {
            p.members |= 1U << idx(f);
          }
        }
      }
      p.inner_states = size;
      // The last setting is cut short where it would go far beyond what was asked for.
      p.outer_states = std::min(p.outer_states, (wanted - planned) / size + 1);
      planned += p.inner_states * p.outer_states;
      plans.push_back(std::move(p));
      ++count.at(second ? 1 : 0);
      constexpr std::size_t kMostPlans = 2000;
      if (count.at(second ? 1 : 0) >= kMostPlans) {
        break;
      }
    }
  }

  struct Task {
    std::size_t plan = 0;
    std::size_t outer = 0;
  };
  std::vector<Task> tasks;
  for (std::size_t p = 0; p < plans.size(); ++p) {
    for (std::size_t o = 0; o < plans[p].outer_states; ++o) {
      tasks.push_back({p, o});
    }
  }
  std::vector<Found> found(tasks.size());
  spread(tasks.size(), [&](std::size_t t) {
    found[t] = walk(space, bits, plans[tasks[t].plan], tasks[t].outer);
  });
  std::array<std::uint64_t, 2> states{};
  for (std::size_t t = 0; t < tasks.size(); ++t) {
    Found& f = found[t];
    states.at(tasks[t].plan < count[0] ? 0 : 1) += f.states;
    wide.states += f.states;
    wide.comparisons += f.comparisons;
    if (!f.obstacle.empty() && wide.obstacle.empty()) {
      wide.obstacle = f.obstacle;
    }
    if (f.breach && (!wide.breach || f.breach->findings < wide.breach->findings)) {
      wide.breach = f.breach;
    }
  }
  if (wide.breach) {
    wide.breach = confirmed(space, *wide.breach);
    if (wide.breach) {
      wide.breach = shrunk(space, *wide.breach);
    } else {
      wide.obstacle = "two neighbours stand in the wrong order in the walk, but not by the model";
    }
  }
  wide.walked = {
      fmt::format("all findings on damaging causes alone, every joint value, next to one joint "
                  "value of the mixed ones, in {} settings of unit, look and distance (the last "
                  "perhaps in part): {} states. States of the causes that no such finding tells "
                  "apart are summed up first.",
                  count[0], states[0]),
      fmt::format(
          "all mixed findings, every joint value, of a finding's many details another "
          "choice in each setting, next to the liquid and some of the others, in {} settings: {} "
          "states, over all 64 states of the causes.",
          count[1], states[1]),
      "risk and grade of each are compared with those of its neighbours along every finding "
      "inside a slab of some million states; floors as sets of bits; in each slab some states are "
      "judged once more by the model, and agree."};
  return wide;
}

}  // namespace dryshaft::proof
