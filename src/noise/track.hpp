// The rotor's speed over time, by lines whose ratios the gearing fixes.
#ifndef DRYSHAFT_NOISE_TRACK_HPP
#define DRYSHAFT_NOISE_TRACK_HPP

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "noise/angle.hpp"
#include "noise/fourier.hpp"

namespace dryshaft::noise {

struct Track {
  std::vector<SpeedPoint> points;
  bool clear = false;      // the comb stands out
  double over = 0;         // by how much it does so more than it has to
  std::size_t lines = 0;   // of the comb, that stand on average
  double uncertainty = 0;  // share
  // Another track that fits nearly as well; empty: there is none.
  std::vector<SpeedPoint> alternative;
};

// Looks at short frames, scores each speed by the comb's lines in it, and takes
// the smooth track with the best sum of scores (Viterbi).
class Tracker {
 public:
  // `comb`: orders. `given`: searched within `band` of it; nullptr: everywhere. `finer`: frames
  // are longer and speeds closer by so much; a speed that is held shows better in them.
  Tracker(double rate, std::vector<double> comb, const SpeedCurve* given, double band,
          std::size_t finer = 1);
  void add(std::span<const float> samples);
  [[nodiscard]] Track finish() const;

 private:
  void frame();
  [[nodiscard]] double rps(std::size_t state, double seconds) const;
  struct Path {
    std::vector<std::size_t> states;
    double score = 0;  // mean over frames
  };
  [[nodiscard]] std::vector<SpeedPoint> points_of(const Path& path) const;
  // The best path whose states stay `away` from `other`'s; other empty: any.
  [[nodiscard]] Path best_path(const Path* other, std::size_t away) const;

  double rate_;
  std::vector<double> comb_;
  const SpeedCurve* given_;
  std::vector<double> factors_;  // of the given speed, or turns a second
  std::size_t finer_;
  double step_;
  std::size_t length_;
  std::size_t stride_ = 1;  // frames, of which one is kept
  std::size_t seen_ = 0;    // frames
  RealTransform transform_;
  std::vector<float> window_;
  std::vector<float> held_;
  std::vector<float> windowed_;
  std::vector<std::complex<float>> bins_;
  std::vector<float> evidence_;
  std::vector<double> times_;
  std::vector<std::vector<float>> scores_;  // frame by frame, a value for each state
  std::vector<std::vector<std::uint8_t>> standing_;
};

}  // namespace dryshaft::noise

#endif
