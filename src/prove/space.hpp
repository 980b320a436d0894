// The states that a proof walks through: units as a record can describe them.
#ifndef DRYSHAFT_PROVE_SPACE_HPP
#define DRYSHAFT_PROVE_SPACE_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "base/index.hpp"
#include "decide/assess.hpp"
#include "diagnose/model.hpp"
#include "dryshaft/knowledge.hpp"

namespace dryshaft {

// The shortest history, one `dryshaft-record/1` a line and the newest last, that `present` turns
// into this case; nothing where no record can.
std::optional<std::string> record_of(const Knowledge& knowledge, const Case& c);

}  // namespace dryshaft

namespace dryshaft::proof {

// Relative slack for risks that are equal but for rounding.
inline constexpr double kSlack = 1e-11;
inline bool falls(double from, double to) { return to < from * (1 - kSlack); }

constexpr Levels nothing_observed() {
  Levels levels{};
  levels.fill(-1);
  return levels;
}

// What conditions speak of.
struct Mentions {
  std::uint32_t findings = 0;
  std::uint32_t situations = 0;
  bool causes = false;

  void add(const Condition& condition);
  [[nodiscard]] bool has(Finding f) const { return (findings >> idx(f) & 1U) != 0; }
  [[nodiscard]] bool has(Situation s) const { return (situations >> idx(s) & 1U) != 0; }
};
Mentions mentions_of(const Condition& condition);

// How a unit is built, before any finding contradicts it.
struct AsBuilt {
  Cooling cooling = Cooling::unknown;
  Bearings rotor = Bearings::unknown;
  Bearings gear = Bearings::unknown;
  Crossover crossover = Crossover::unknown;
  std::uint8_t by = 3;
  Magnets magnets = Magnets::unknown;  // as the family has it
};

// Units in all ways that count; what is not known comes first.
struct Configurations {
  std::vector<AsBuilt> all;
  // Of these, ones that a record can describe come first, so that what a search
  // finds is a unit that can come in; an argument goes through all of them.
  std::size_t describable = 0;
  // Short walks take the first few: every cooling and kind of rotor, with as
  // little else known as may be.
  std::size_t few = 0;

  [[nodiscard]] std::span<const AsBuilt> described() const { return {all.data(), describable}; }
};

// When the port was looked at.
struct Look {
  PortCheck check = PortCheck::not_made;
  int days = 0;  // before the newest look; above 0: what was seen there belongs to the course
  bool operator==(const Look&) const = default;
};

// A state as it is built up; `realize` makes a case of it, as `present` would.
struct Draft {
  Levels level = nothing_observed();
  AsBuilt unit;
  Look look;
  double km = 0;

  [[nodiscard]] int at(Finding f) const { return level[idx(f)]; }
  void set(Finding f, int l) { level[idx(f)] = static_cast<std::int8_t>(l); }
  // Takes a finding out, and with it what is said of it.
  void leave_out(Finding f);
  [[nodiscard]] std::size_t observed() const;
  // When it was looked at before: days ago; a loss, damage and coolant of earlier, or not. Drafts
  // that differ in it are of units of different ages, and their risks are not compared.
  [[nodiscard]] std::array<int, 4> moments() const;
};

// What is believed before the newest look, kept: many states have it in common.
class Priors {
 public:
  explicit Priors(const Model& model) : model_(model) {}
  const Prior& of(const Case& c);

 private:
  const Model& model_;
  std::map<std::string, Prior> kept_;
};

class Space {
 public:
  Space(const Knowledge& knowledge, const Model& model);

  const Knowledge& knowledge;
  const Model& model;
  std::uint32_t graded = 0;       // situations by which grades go, as bits
  Configurations configurations;  // by those
  std::vector<Look> looks;        // not made; then made, ever longer ago
  std::vector<double> distances;  // rising: 0, both sides of each risk threshold, ...
  std::vector<Levels> bases;      // nothing; the port seen dry; dry and clean

  // False where no record can give this draft.
  [[nodiscard]] static bool possible(const Draft& d);
  [[nodiscard]] Case realize(const Draft& d) const;
  [[nodiscard]] Verdict judge(const Draft& d) const {
    return dryshaft::judge(knowledge, model, realize(d));
  }
  // Units that differ in cooling, bearings and those of `kVaried` that are asked for.
  static constexpr std::uint32_t kVaried = 1U << idx(Situation::crossover) |
                                           1U << idx(Situation::rotor_magnets) |
                                           1U << idx(Situation::by);
  [[nodiscard]] Configurations configurations_by(std::uint32_t situations) const;
  // The whole km at which distance takes this state's risk, as graded, to a
  // limit, and the km before it.
  [[nodiscard]] std::optional<std::pair<double, double>> crossing(Draft d, double limit,
                                                                  Priors& priors) const;
  // Every choice of up to `most` findings with a level each, fewest first.
  [[nodiscard]] std::vector<std::vector<std::pair<Finding, int>>> picks(std::size_t most) const;

 private:
  void earlier_looks(const Draft& d, Case& c) const;
};

// "sump-seal (floors.json:12)"
std::string place(const Item& item);

// The findings without which a finding does not exist, its leader among them, as bits.
constexpr std::uint32_t needed_by(const FindingSpec& f) {
  std::uint32_t needed = f.detail_of ? 1U << idx(*f.detail_of) : 0;
  for (const Finding other : f.needs_one_of) {
    needed |= 1U << idx(other);
  }
  return needed;
}
inline std::uint32_t needed_by(Finding f) { return needed_by(spec(f)); }

// The history that `record_of` words, as read back.
std::optional<History> history_of(const Knowledge& knowledge, const Case& c);
std::optional<History> read_history(const Knowledge& knowledge, const std::string& lines);

}  // namespace dryshaft::proof

#endif
