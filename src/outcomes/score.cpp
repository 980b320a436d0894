// Scores of probabilities, and how far they can be trusted.
#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>

#include "base/draw.hpp"
#include "dryshaft/outcomes.hpp"

namespace dryshaft {
namespace {

struct BinSums {
  double count = 0;
  double said = 0;
  double found = 0;
};

std::size_t bin_of(double probability, std::span<const double> edges) {
  return static_cast<std::size_t>(std::ranges::upper_bound(edges, probability) - edges.begin());
}

double outcome(const Forecast& f) { return f.happened ? 1 : 0; }

}  // namespace

BrierParts brier_parts(std::span<const Forecast> forecasts, std::span<const double> edges) {
  BrierParts parts;
  if (forecasts.empty()) {
    return parts;
  }
  const auto n = static_cast<double>(forecasts.size());
  std::vector<BinSums> bins(edges.size() + 1);
  double happened = 0;
  for (const Forecast& f : forecasts) {
    BinSums& bin = bins[bin_of(f.probability, edges)];
    bin.count += 1;
    bin.said += f.probability;
    bin.found += outcome(f);
    happened += outcome(f);
  }
  const double rate = happened / n;
  parts.uncertainty = rate * (1 - rate);
  for (const BinSums& bin : bins) {
    if (bin.count > 0) {
      const double said = bin.said / bin.count;
      const double found = bin.found / bin.count;
      parts.reliability += bin.count * (said - found) * (said - found) / n;
      parts.resolution += bin.count * (found - rate) * (found - rate) / n;
    }
  }
  for (const Forecast& f : forecasts) {
    const BinSums& bin = bins[bin_of(f.probability, edges)];
    const double said = f.probability - bin.said / bin.count;
    const double found = outcome(f) - bin.found / bin.count;
    parts.within_variance += said * said / n;
    parts.within_covariance += 2 * said * found / n;
    const double miss = f.probability - outcome(f);
    parts.brier += miss * miss / n;
  }
  return parts;
}

double log_score(const Forecast& forecast) {
  constexpr double kLeast = 1e-12;
  const double p = std::clamp(forecast.probability, kLeast, 1 - kLeast);
  return forecast.happened ? -std::log2(p) : -std::log1p(-p) / std::log(2.0);
}

Interval exact_share(std::size_t happened, std::size_t count, double confidence) {
  using Binomial = boost::math::binomial_distribution<double>;
  const auto n = static_cast<double>(count);
  const auto k = static_cast<double>(happened);
  const double tail = (1 - confidence) / 2;
  return {happened == 0 ? 0 : Binomial::find_lower_bound_on_p(n, k, tail),
          happened == count ? 1 : Binomial::find_upper_bound_on_p(n, k, tail)};
}

std::vector<ReliabilityBin> reliability_table(std::span<const Forecast> forecasts,
                                              std::span<const double> edges) {
  std::vector<ReliabilityBin> bins(edges.size() + 1);
  for (const Forecast& f : forecasts) {
    ReliabilityBin& bin = bins[bin_of(f.probability, edges)];
    ++bin.count;
    bin.happened += f.happened ? 1 : 0;
    bin.mean += f.probability;
  }
  for (std::size_t i = 0; i < bins.size(); ++i) {
    ReliabilityBin& bin = bins[i];
    bin.from = i == 0 ? 0 : edges[i - 1];
    bin.to = i == edges.size() ? 1 : edges[i];
    if (bin.count > 0) {
      bin.mean /= static_cast<double>(bin.count);
      bin.found = exact_share(bin.happened, bin.count, kConfidence);
    }
  }
  std::erase_if(bins, [](const ReliabilityBin& bin) { return bin.count == 0; });
  return bins;
}

std::optional<Interval> bootstrap_mean(std::span<const UnitDifference> units, double confidence) {
  constexpr std::size_t kResamples = 4000;
  const std::size_t n = units.size();
  if (n < 2) {
    return std::nullopt;
  }
  std::vector<double> means(kResamples);
  std::uint64_t number = 0;
  const std::uint64_t seed = draw::hashed("bootstrap over units");
  for (double& mean : means) {
    double sum = 0;
    double count = 0;
    for (std::size_t i = 0; i < n; ++i) {
      const UnitDifference& unit = units[draw::mixed(seed, number++) % n];
      sum += unit.sum;
      count += static_cast<double>(unit.count);
    }
    mean = sum / count;
  }
  std::ranges::sort(means);
  const auto size = static_cast<double>(n);
  const boost::math::students_t student(size - 1);
  const double t = boost::math::quantile(student, (1 - confidence) / 2);
  const double tail = boost::math::cdf(boost::math::normal(), t * std::sqrt(size / (size - 1)));
  const auto at = static_cast<std::size_t>(tail * kResamples);
  return Interval{means[at], means[kResamples - 1 - at]};
}

std::string_view name(Judged judged) {
  switch (judged) {
    case Judged::better:
      return "better";
    case Judged::worse:
      return "worse";
    case Judged::open:
      return "open";
    case Judged::too_few:
      break;
  }
  return "too-few";
}

}  // namespace dryshaft
