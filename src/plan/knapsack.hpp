// The best selection under a limit: the 0/1 knapsack, exactly.
#ifndef DRYSHAFT_PLAN_KNAPSACK_HPP
#define DRYSHAFT_PLAN_KNAPSACK_HPP

#include <cstddef>
#include <vector>

namespace dryshaft::plan {

struct Parcel {
  double value = 0;  // one that is not above 0 is never taken
  std::size_t weight = 0;
};

// Dynamic programming over whole units of weight (Bellman 1957, from memory).
class Knapsack {
 public:
  Knapsack(std::vector<Parcel> parcels, std::size_t limit);
  [[nodiscard]] double best() const { return before_.back().back(); }
  // 1 for those taken.
  [[nodiscard]] std::vector<bool> taken() const;
  // The best of all but one, at most `limit` heavy.
  [[nodiscard]] double without(std::size_t parcel, std::size_t limit) const;
  [[nodiscard]] std::size_t limit() const { return limit_; }

 private:
  std::vector<Parcel> parcels_;
  std::size_t limit_;
  std::vector<std::vector<double>> before_;  // [parcels][limit]: of the first ones
  std::vector<std::vector<double>> behind_;  // of those from here on
};

}  // namespace dryshaft::plan

#endif
