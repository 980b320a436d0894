// What is to be done about a unit: asked for at its looks, and closed by what the record tells
// since, never by time alone.
#ifndef DRYSHAFT_DECIDE_ORDERS_HPP
#define DRYSHAFT_DECIDE_ORDERS_HPP

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <tuple>
#include <vector>

#include "diagnose/present.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/record.hpp"
#include "knowledge/condition_set.hpp"
#include "record/events.hpp"

namespace dryshaft {

// An action as one piece of advice has it.
struct Offer {
  const ActionRule* action = nullptr;
  const Advice* advice = nullptr;
  bool companion = false;
  Urgency urgency = Urgency::routine;
  std::optional<double> within_km;
  std::optional<double> within_days;

  // Its limits are those of the computed recheck.
  [[nodiscard]] bool is_recheck() const {
    return advice->at_recheck || action->role == ActionRole::look_again;
  }
  // Most urgent first.
  [[nodiscard]] auto order() const {
    constexpr double kNone = 1e12;
    return std::tuple(static_cast<int>(urgency), within_days.value_or(kNone),
                      within_km.value_or(kNone));
  }
};

// The advice that holds, without that in whose place another one stands, and what the
// contradictions ask for.
std::vector<const Advice*> advice_that_holds(const Knowledge& knowledge, const Facts& facts,
                                             std::span<const std::string_view> contradictions);

// An action that is open at the newest look.
struct Order {
  Offer offer;
  std::size_t asked = 0;            // the record of the look that asked for it
  std::optional<int> due_day = {};  // the earliest of what was asked since
  std::optional<double> due_km = {};
  std::vector<Did> done = {};  // of the work that closes it, not all of it
};

// Follows a unit's looks, oldest first.
class Orders {
 public:
  Orders(const Knowledge& knowledge, const std::vector<Record>& records);

  void look(std::size_t record, const Presentation& seen, const Facts& facts);
  // After the newest look; `seen` and `facts` are of it. The most urgent offer of each action, in
  // the order in which they are to be done. The recheck has no due day here: it is computed.
  std::vector<Order> open(const Presentation& seen, const Facts& facts);

 private:
  void works_until(std::size_t looks);
  [[nodiscard]] bool closed_since(const Offer& offer, const Presentation& seen,
                                  std::size_t record) const;
  [[nodiscard]] std::vector<Offer> offers(const Presentation& seen, const Facts& facts,
                                          std::size_t record) const;
  void ask(std::size_t record, const Presentation& seen, std::vector<Offer> offers);

  struct Pending {
    Order order;
    std::uint32_t done = 0;  // work since it was asked for, as bits
    bool offered = false;    // at the last look
  };
  const Knowledge& k_;
  const std::vector<Record>& records_;
  std::vector<UnitEvent> works_;  // in order
  std::size_t next_work_ = 0;
  std::vector<Pending> pending_;
};

}  // namespace dryshaft

#endif
