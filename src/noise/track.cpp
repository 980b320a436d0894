#include "noise/track.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace dryshaft::noise {
namespace {

constexpr double kFrame = 0.17;            // s; times as much where finer
constexpr std::size_t kMostFrames = 2048;  // kept; longer recordings keep every second, fourth ...
constexpr double kSlowestTracked = 4;      // turns a second
constexpr double kFastestTracked = 270;
constexpr double kSpeedStep = 0.0025;  // of speed, from state to state
constexpr std::size_t kReach = 30;     // states that the speed may move by from frame to frame
constexpr double kTurnCost = 0.0004;   // for the square of the states moved by
// A speed given may be off by this share (display, worn tyres); beyond, its score has to be better
// by kFarCost for each further such share, squared.
constexpr double kGivenOff = 0.03;
constexpr double kFarCost = 0.08;
constexpr double kLeastEvidence =
    1.2;  // log of power over floor, below which a line counts nothing
// Above which it counts no more: many lines make a comb, not strong ones.
constexpr double kMostEvidence = 2.2;
constexpr double kStandsAt = 2.0;  // log of power over floor of a line that stands: 9 dB
// Score over the background of a track that is no accident: of 60 recordings of road noise near a
// given speed the median was 0.19, 0.17, 0.15 and 0.14 in frames 1, 2, 4 and 8 times as long, the
// most 0.23, 0.21, 0.21 and 0.19.
constexpr double kClearAnywhere = 0.25;
constexpr double kClearNearGiven = 0.19;  // and where the speed changes
constexpr double kMoves = 0.2;            // share by which it then changes at least
constexpr std::size_t kStretch = 4;       // frames on each side, over which a track must hold
constexpr double kHolds = 0.12;           // score over the background, in a stretch
constexpr double kHoldsFor = 0.7;         // share of the stretches
constexpr double kNearlyAsWell = 0.75;    // of the best track's score over the background

}  // namespace

Tracker::Tracker(double rate, std::vector<double> comb, const SpeedCurve* given, double band,
                 std::size_t finer)
    : rate_(rate),
      comb_(std::move(comb)),
      given_(given),
      finer_(finer),
      step_(kSpeedStep / static_cast<double>(finer_)),
      length_(fast_length(static_cast<std::size_t>(rate * kFrame * static_cast<double>(finer_)))),
      transform_(length_),
      window_(length_),
      windowed_(length_),
      bins_(length_ / 2 + 1),
      evidence_(length_ / 2 + 1) {
  for (std::size_t i = 0; i < length_; ++i) {
    window_[i] =
        static_cast<float>(0.5 - 0.5 * std::cos(2 * std::numbers::pi * static_cast<double>(i) /
                                                static_cast<double>(length_)));
  }
  const double from = given != nullptr ? 1 - band : kSlowestTracked;
  const double to = given != nullptr ? 1 + band : kFastestTracked;
  for (double f = from; f <= to; f *= 1 + step_) {
    factors_.push_back(f);
  }
}

double Tracker::rps(std::size_t state, double seconds) const {
  return factors_[state] * (given_ != nullptr ? given_->rps(seconds) : 1);
}

void Tracker::add(std::span<const float> samples) {
  held_.insert(held_.end(), samples.begin(), samples.end());
  std::size_t done = 0;
  while (held_.size() - done >= length_) {
    if (seen_ % stride_ == 0) {
      for (std::size_t i = 0; i < length_; ++i) {
        windowed_[i] = held_[done + i] * window_[i];
      }
      frame();
    }
    ++seen_;
    done += length_;
  }
  held_.erase(held_.begin(), held_.begin() + static_cast<std::ptrdiff_t>(done));
}

void Tracker::frame() {
  if (times_.size() == kMostFrames) {
    for (std::size_t i = 1; 2 * i < kMostFrames; ++i) {  // the first stays
      times_[i] = times_[2 * i];
      scores_[i] = std::move(scores_[2 * i]);
      standing_[i] = std::move(standing_[2 * i]);
    }
    times_.resize(kMostFrames / 2);
    scores_.resize(kMostFrames / 2);
    standing_.resize(kMostFrames / 2);
    stride_ *= 2;
    if (seen_ % stride_ != 0) {
      return;
    }
  }
  transform_.forward(windowed_, bins_);
  // Log of power over the local mean of logs; for noise 0 on average.
  const std::size_t n = bins_.size();
  std::vector<double> sums(n + 1, 0);
  std::vector<float> logs(n);
  for (std::size_t i = 0; i < n; ++i) {
    logs[i] = std::log(std::norm(bins_[i]) + 1e-20F);
    sums[i + 1] = sums[i] + logs[i];
  }
  constexpr std::size_t kAround = 24;
  for (std::size_t i = 0; i < n; ++i) {
    const std::size_t from = i > kAround ? i - kAround : 0;
    const std::size_t to = std::min(i + kAround + 1, n);
    const double mean = (sums[to] - sums[from]) / static_cast<double>(to - from);
    evidence_[i] = static_cast<float>(std::clamp(logs[i] - mean, kLeastEvidence, kMostEvidence) -
                                      kLeastEvidence);
  }
  const double seconds = (static_cast<double>(seen_) + 0.5) * static_cast<double>(length_) / rate_;
  const double bin = rate_ / static_cast<double>(length_);
  const auto cost = [this](double factor) {
    const double far = given_ != nullptr ? std::abs(factor - 1) / kGivenOff - 1 : 0;
    return far > 0 ? kFarCost * far * far : 0.0;
  };
  std::vector<float> scores(factors_.size());
  std::vector<std::uint8_t> standing(factors_.size());
  for (std::size_t s = 0; s < factors_.size(); ++s) {
    const double turn = rps(s, seconds) / bin;
    float sum = 0;
    int stand = 0;
    int lines = 0;
    for (const double order : comb_) {
      const double place = order * turn;
      if (place < 4 || place + 1 >= static_cast<double>(n)) {
        continue;
      }
      const auto i = static_cast<std::size_t>(place);
      const auto part = static_cast<float>(place - std::floor(place));
      const float e = evidence_[i] * (1 - part) + evidence_[i + 1] * part;
      sum += e;
      ++lines;
      stand += e > kStandsAt - kLeastEvidence ? 1 : 0;
    }
    // Lines that cannot be looked at at this speed count as if they did not stand.
    scores[s] = (lines > 0 ? sum / static_cast<float>(comb_.size()) : 0) -
                static_cast<float>(cost(factors_[s]));
    standing[s] = static_cast<std::uint8_t>(stand);
  }
  times_.push_back(seconds);
  scores_.push_back(std::move(scores));
  standing_.push_back(std::move(standing));
}

Tracker::Path Tracker::best_path(const Path* other, std::size_t away) const {
  const std::size_t states = factors_.size();
  const std::size_t frames = times_.size();
  Path path;
  if (frames == 0) {
    return path;
  }
  constexpr float kNever = -1e9F;
  const auto allowed = [&](std::size_t frame, std::size_t state) {
    if (other == nullptr) {
      return true;
    }
    const std::size_t there = other->states[frame];
    return state + away < there || there + away < state;
  };
  std::vector<std::vector<std::int16_t>> back(frames, std::vector<std::int16_t>(states, 0));
  std::vector<float> sums(states);
  std::vector<float> next(states);
  for (std::size_t s = 0; s < states; ++s) {
    sums[s] = allowed(0, s) ? scores_[0][s] : kNever;
  }
  for (std::size_t f = 1; f < frames; ++f) {
    for (std::size_t s = 0; s < states; ++s) {
      const std::size_t from = s > kReach ? s - kReach : 0;
      const std::size_t to = std::min(s + kReach, states - 1);
      float best = kNever * 2;
      std::size_t best_from = s;
      for (std::size_t p = from; p <= to; ++p) {
        const auto moved = static_cast<float>(p) - static_cast<float>(s);
        const float sum = sums[p] - static_cast<float>(kTurnCost) * moved * moved;
        if (sum > best) {
          best = sum;
          best_from = p;
        }
      }
      next[s] = best + (allowed(f, s) ? scores_[f][s] : kNever);
      back[f][s] = static_cast<std::int16_t>(best_from);
    }
    std::swap(sums, next);
  }
  path.states.resize(frames);
  std::size_t state =
      static_cast<std::size_t>(std::max_element(sums.begin(), sums.end()) - sums.begin());
  path.score = sums[state] / static_cast<double>(frames);
  for (std::size_t f = frames; f-- > 0;) {
    path.states[f] = state;
    state = static_cast<std::size_t>(back[f][state]);
  }
  return path;
}

std::vector<SpeedPoint> Tracker::points_of(const Path& path) const {
  const std::size_t frames = times_.size();
  std::vector<SpeedPoint> points;
  // Each frame's speed: the top of a parabola through its score and those beside it, then an even
  // line through five frames.
  std::vector<double> speeds(frames);
  for (std::size_t f = 0; f < frames; ++f) {
    const std::size_t s = path.states[f];
    double shift = 0;
    if (s > 0 && s + 1 < factors_.size()) {
      const double before = scores_[f][s - 1];
      const double here = scores_[f][s];
      const double after = scores_[f][s + 1];
      const double curved = before - 2 * here + after;
      shift = curved < 0 ? std::clamp(0.5 * (before - after) / curved, -0.5, 0.5) : 0.0;
    }
    speeds[f] = rps(s, times_[f]) * (1 + shift * step_);
  }
  points.reserve(frames);
  const std::size_t half_width = std::max<std::size_t>(3 / finer_, 1);
  for (std::size_t f = 0; f < frames; ++f) {
    const std::size_t from = f > half_width ? f - half_width : 0;
    const std::size_t to = std::min(f + half_width + 1, frames);
    double n = 0;
    double x = 0;
    double y = 0;
    double xx = 0;
    double xy = 0;
    for (std::size_t g = from; g < to; ++g) {
      const double t = times_[g] - times_[f];
      n += 1;
      x += t;
      y += speeds[g];
      xx += t * t;
      xy += t * speeds[g];
    }
    const double under = n * xx - x * x;
    const double slope = under > 0 ? (n * xy - x * y) / under : 0;
    const double level = (y - slope * x) / n;
    // The first and the last line reach out to the ends of the recording.
    const double half = static_cast<double>(length_) / rate_ / 2;
    if (f == 0) {
      points.push_back({times_[f] - half, std::max(level - slope * half, 0.0) * 60});
    }
    points.push_back({times_[f], level * 60});
    if (f + 1 == frames) {
      points.push_back({times_[f] + half, std::max(level + slope * half, 0.0) * 60});
    }
  }
  return points;
}

Track Tracker::finish() const {
  Track track;
  const std::size_t frames = times_.size();
  if (frames < 3) {
    return track;
  }
  const Path path = best_path(nullptr, 0);
  // Mean score of the same track moved by a share: what the comb does by accident.
  const auto moved = [&](std::ptrdiff_t by) {
    double sum = 0;
    std::size_t n = 0;
    for (std::size_t f = 0; f < frames; ++f) {
      const auto s = static_cast<std::ptrdiff_t>(path.states[f]) + by;
      if (s >= 0 && s < static_cast<std::ptrdiff_t>(factors_.size())) {
        sum += scores_[f][static_cast<std::size_t>(s)];
        ++n;
      }
    }
    return n > frames / 2 ? std::optional(sum / static_cast<double>(n)) : std::nullopt;
  };
  const auto all = static_cast<std::ptrdiff_t>(factors_.size());
  constexpr std::ptrdiff_t kBeside = 8;
  std::vector<double> background;
  for (std::ptrdiff_t by = -all; by <= all; ++by) {
    if (std::abs(by) > kBeside * static_cast<std::ptrdiff_t>(finer_)) {
      if (const auto score = moved(by)) {
        background.push_back(*score);
      }
    }
  }
  double usual = 0;
  if (!background.empty()) {
    const auto middle = background.begin() + static_cast<std::ptrdiff_t>(background.size() / 2);
    std::nth_element(background.begin(), middle, background.end());
    usual = *middle;
  }
  const double own = moved(0).value_or(0);
  const double above = own - usual;
  const std::size_t stretch = std::max<std::size_t>(kStretch / finer_, 1);
  std::size_t holding = 0;
  for (std::size_t f = 0; f < frames; ++f) {
    const std::size_t from = f > stretch ? f - stretch : 0;
    const std::size_t to = std::min(f + stretch + 1, frames);
    double sum = 0;
    for (std::size_t g = from; g < to; ++g) {
      sum += scores_[g][path.states[g]];
    }
    holding += sum / static_cast<double>(to - from) - usual > kHolds ? 1 : 0;
  }
  // Lines that move together are no accident.
  const auto [least, most] = std::ranges::minmax(path.states);
  const bool moves = static_cast<double>(most - least) * step_ > kMoves;
  const double enough = given_ != nullptr || moves ? kClearNearGiven : kClearAnywhere;
  track.over = above - enough;
  track.clear =
      track.over > 0 && static_cast<double>(holding) > kHoldsFor * static_cast<double>(frames);
  double standing = 0;
  for (std::size_t f = 0; f < frames; ++f) {
    standing += standing_[f][path.states[f]];
  }
  track.lines = static_cast<std::size_t>(std::lround(standing / static_cast<double>(frames)));
  // The width of the peak at half its height: of 79 tracks over invented recordings, 77 lay within
  // it.
  constexpr std::ptrdiff_t kWidest = 12;
  std::ptrdiff_t wide = 1;
  while (wide < kWidest * static_cast<std::ptrdiff_t>(finer_) &&
         (moved(wide).value_or(0) - usual > above / 2 ||
          moved(-wide).value_or(0) - usual > above / 2)) {
    ++wide;
  }
  track.uncertainty = static_cast<double>(wide) * step_;

  track.points = points_of(path);
  if (track.clear) {
    // Near a given speed another track is found as soon as it is another speed.
    constexpr std::size_t kAway = 16;  // states: 4 %
    constexpr std::size_t kAwayNearGiven = 6;
    const Path second = best_path(&path, finer_ * (given_ != nullptr ? kAwayNearGiven : kAway));
    double score = 0;
    for (std::size_t f = 0; f < frames; ++f) {
      score += scores_[f][second.states[f]];
    }
    if (score / static_cast<double>(frames) - usual > kNearlyAsWell * above) {
      track.alternative = points_of(second);
    }
  }
  return track;
}

}  // namespace dryshaft::noise
