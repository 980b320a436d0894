#include "plan/knapsack.hpp"

#include <algorithm>

namespace dryshaft::plan {
namespace {

std::vector<double> with_one_more(const std::vector<double>& best, const Parcel& parcel) {
  std::vector<double> more = best;
  for (std::size_t w = parcel.weight; w < best.size() && parcel.value > 0; ++w) {
    more[w] = std::max(best[w], best[w - parcel.weight] + parcel.value);
  }
  return more;
}

}  // namespace

Knapsack::Knapsack(std::vector<Parcel> parcels, std::size_t limit)
    : parcels_(std::move(parcels)), limit_(limit) {
  const std::vector<double> nothing(limit + 1, 0);
  before_.push_back(nothing);
  for (const Parcel& p : parcels_) {
    before_.push_back(with_one_more(before_.back(), p));
  }
  behind_.assign(parcels_.size() + 1, nothing);
  for (std::size_t i = parcels_.size(); i-- > 0;) {
    behind_[i] = with_one_more(behind_[i + 1], parcels_[i]);
  }
}

std::vector<bool> Knapsack::taken() const {
  std::vector<bool> taken(parcels_.size(), false);
  std::size_t left = limit_;
  for (std::size_t i = parcels_.size(); i-- > 0;) {
    if (before_[i + 1][left] != before_[i][left]) {
      taken[i] = true;
      left -= parcels_[i].weight;
    }
  }
  return taken;
}

double Knapsack::without(std::size_t parcel, std::size_t limit) const {
  double best = 0;
  for (std::size_t w = 0; w <= limit; ++w) {
    best = std::max(best, before_[parcel][w] + behind_[parcel + 1][limit - w]);
  }
  return best;
}

}  // namespace dryshaft::plan
