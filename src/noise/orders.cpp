#include "noise/orders.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <numbers>

#include "noise/lines.hpp"

namespace dryshaft::noise {
namespace {

constexpr double kLowestHz = 500;     // below, road and machine drown what resonates
constexpr double kHighestHz = 16000;  // phones keep little above
constexpr double kKept = 0.97;        // of half the sampling rate
// Wide bands everywhere, narrow ones where resonances lie closer, Hz.
struct LayerSpec {
  double width;
  double highest;
};
constexpr std::array kLayers = {LayerSpec{4200, kHighestHz}, LayerSpec{2100, 9000}};
constexpr double kSlowestTurning = 3;  // turns a second; slower ones are passed over
constexpr std::size_t kMostRows = 256;
constexpr std::size_t kExact = 16;  // steps of a turn; divides both rates
// Of longer recordings, the envelopes of every second block are enough: there blocks do not
// overlap.
constexpr double kTurnsForAll = 3000;
static_assert(OrderAnalyser::kSoundSteps % kExact == 0 &&
              OrderAnalyser::kEnvelopeSteps % kExact == 0);

std::vector<float> hann(std::size_t n) {
  std::vector<float> window(n);
  for (std::size_t i = 0; i < n; ++i) {
    window[i] =
        static_cast<float>(0.5 - 0.5 * std::cos(2 * std::numbers::pi * static_cast<double>(i) /
                                                static_cast<double>(n)));
  }
  return window;
}

// Half decibels over `from` dB of a power, within a tenth: the logarithm's integer part from the
// number's exponent, the rest from a parabola that is right at both ends.
std::uint8_t half_decibels(float power, float from) {
  constexpr float kHalfDecibels = 6.0206F;  // for a factor of 2
  const auto bits = std::bit_cast<std::uint32_t>(power);
  const auto exponent = static_cast<float>(static_cast<int>(bits >> 23U) - 127);
  const float mantissa = std::bit_cast<float>((bits & 0x7FFFFFU) | 0x3F800000U) - 1;
  const float log2 = exponent + mantissa * (1.3465F - 0.3465F * mantissa);
  return static_cast<std::uint8_t>(std::clamp(log2 * kHalfDecibels - 2 * from, 0.0F, 255.0F));
}

// Blocks overlap by half; with this window their spectra are nearly independent.
constexpr double kIndependent = 0.95;

}  // namespace

OrderAnalyser::OrderAnalyser(double rate, const SpeedCurve& speed, std::size_t turns,
                             std::vector<LoadMark> loads, bool envelopes)
    : rate_(rate),
      speed_(speed),
      turns_(turns),
      loads_(std::move(loads)),
      sound_lines_(static_cast<std::size_t>(kHighestSound) * turns + 1),
      envelope_lines_(static_cast<std::size_t>(kHighestEnvelope) * turns + 1),
      sound_stream_(rate, 1),
      whole_(BandBank::block_length()),
      bins_(BandBank::block_length() / 2 + 1),
      sound_(kSoundSteps * turns),
      sound_transform_(kSoundSteps * turns),
      envelope_transform_(kEnvelopeSteps * turns),
      sound_window_(hann(kSoundSteps * turns)),
      envelope_window_(hann(kEnvelopeSteps * turns)),
      sound_power_(sound_lines_) {
  std::size_t bands = 0;
  for (const LayerSpec& spec : kLayers) {
    BandBank bank(rate, spec.width, kLowestHz, std::min(spec.highest, rate / 2 * kKept));
    if (envelopes && !bank.bands().empty()) {
      const std::size_t count = bank.bands().size();
      const double envelope_rate = bank.envelope_rate();
      const std::size_t stride = bank.stride();
      layers_.push_back({std::move(bank), Resampler(envelope_rate, stride),
                         std::vector<float>(count * kEnvelopeSteps * turns)});
      bands += count;
    }
  }
  if (speed.turns(speed.length()) > kTurnsForAll) {
    every_ = per_row_ = 2;
  }
  // The bank's first block starts in silence, so that its good middle starts at time 0.
  held_.assign((BandBank::block_length() - BandBank::hop()) / 2, 0.0F);
  envelope_power_.assign(bands * envelope_lines_, 0);
  fourth_.assign(bands, 0);
}

void OrderAnalyser::add(std::span<const float> samples) {
  sound_stream_.add(samples);
  held_.insert(held_.end(), samples.begin(), samples.end());
  added_ += static_cast<double>(samples.size()) / rate_;
  std::vector<float> envelope;
  std::size_t done = 0;
  while (held_.size() - done >= BandBank::block_length()) {
    if (!layers_.empty()) {
      whole_.forward(std::span(held_).subspan(done, BandBank::block_length()), bins_);
    }
    for (Layer& layer : layers_) {
      envelope.clear();
      layer.bank.add(bins_, envelope);
      layer.stream.add(envelope);
    }
    done += BandBank::hop();
    enveloped_ += static_cast<double>(BandBank::hop()) / rate_;
  }
  held_.erase(held_.begin(), held_.begin() + static_cast<std::ptrdiff_t>(done));

  constexpr double kSpareTurns = 3;
  const double until = speed_.turns(std::min({added_, enveloped_, speed_.length()}));
  while (static_cast<double>(next_turn_) + kSpareTurns < until) {
    const double to = speed_.seconds_at(static_cast<double>(next_turn_) + 2);
    const double turn_rate = speed_.rps(to);
    bool reach = sound_stream_.reaches(to, turn_rate * static_cast<double>(kSoundSteps));
    for (const Layer& layer : layers_) {
      reach = reach && layer.stream.reaches(to, turn_rate * static_cast<double>(kEnvelopeSteps));
    }
    if (!reach) {
      break;
    }
    turn(next_turn_++);
  }
}

void OrderAnalyser::finish() {
  const std::vector<float> silence(BandBank::block_length(), 0.0F);
  const double end = added_;
  add(silence);
  added_ = end;
}

// One turn, from the middle of one to the middle of the next.
void OrderAnalyser::turn(std::size_t number) {
  const auto n = static_cast<double>(number);
  const double t1 = speed_.seconds_at(n);
  const double t2 = speed_.seconds_at(n + 1);
  const double t3 = speed_.seconds_at(n + 2);
  const double rps = 2 / (t3 - t1);
  if (rps < kSlowestTurning || t3 > added_) {
    in_block_ = 0;
    sound_stream_.forget_before(t1);
    return;
  }
  const ThreePulses pulses(t1, t2, t3, 1);
  if (in_block_ == 0) {
    block_from_ = t1;
  }
  // Times at a few angles by the formula, even steps between: the speed changes little in so short
  // a time, less than a thousandth of a sample's worth.
  std::array<double, kExact + 1> exact{};
  for (std::size_t i = 0; i <= kExact; ++i) {
    exact[i] = pulses.time_of(0.5 + static_cast<double>(i) / static_cast<double>(kExact));
  }
  const auto time_at = [&](std::size_t step, std::size_t steps) {
    const std::size_t of_each = steps / kExact;
    const std::size_t i = step / of_each;
    const double part = static_cast<double>(step % of_each) / static_cast<double>(of_each);
    return exact[i] + part * (exact[i + 1] - exact[i]);
  };
  const std::size_t sound_at = in_block_ * kSoundSteps;
  const double sound_rate = rps * static_cast<double>(kSoundSteps);
  for (std::size_t i = 0; i < kSoundSteps; ++i) {
    sound_stream_.at(time_at(i, kSoundSteps), sound_rate,
                     std::span(sound_).subspan(sound_at + i, 1));
  }
  sound_stream_.forget_before(t1);
  const double envelope_rate = rps * static_cast<double>(kEnvelopeSteps);
  std::vector<float> values;
  for (Layer& layer : layers_) {
    const std::size_t bands = layer.bank.bands().size();
    values.resize(layer.bank.stride());
    for (std::size_t i = 0; i < kEnvelopeSteps; ++i) {
      layer.stream.at(time_at(i, kEnvelopeSteps), envelope_rate, values);
      for (std::size_t b = 0; b < bands; ++b) {
        layer.values[b * kEnvelopeSteps * turns_ + in_block_ * kEnvelopeSteps + i] = values[b];
      }
    }
    layer.stream.forget_before(t1);
  }
  if (++in_block_ == turns_) {
    block();
    // The next block begins in the middle of this one.
    const std::size_t half = turns_ / 2;
    std::copy(sound_.begin() + static_cast<std::ptrdiff_t>(half * kSoundSteps), sound_.end(),
              sound_.begin());
    for (Layer& layer : layers_) {
      const auto length = static_cast<std::ptrdiff_t>(kEnvelopeSteps * turns_);
      for (auto begin = layer.values.begin(); begin != layer.values.end(); begin += length) {
        std::copy(begin + static_cast<std::ptrdiff_t>(half * kEnvelopeSteps), begin + length,
                  begin);
      }
    }
    in_block_ = turns_ - half;
    block_from_ = speed_.seconds_at(n + 2 - static_cast<double>(in_block_));
  }
}

int OrderAnalyser::load_between(double from, double to) const {
  for (const LoadMark& mark : loads_) {
    if (from >= mark.from_s && to <= mark.to_s) {
      return static_cast<int>(mark.load);
    }
  }
  return -1;
}

void OrderAnalyser::block() {
  const double to = speed_.seconds_at(static_cast<double>(next_turn_) + 1);
  Row row;
  row.seconds = (block_from_ + to) / 2;
  row.load = load_between(block_from_, to);

  std::vector<float> windowed(sound_.size());
  for (std::size_t i = 0; i < sound_.size(); ++i) {
    windowed[i] = sound_[i] * sound_window_[i];
  }
  std::vector<std::complex<float>> lines(sound_.size() / 2 + 1);
  sound_transform_.forward(windowed, lines);
  Spectrum own{1 / per_order(), 1, std::vector<double>(sound_lines_)};
  for (std::size_t k = 0; k < sound_lines_; ++k) {
    own.power[k] = std::norm(lines[k]);
  }
  const std::vector<double> floor = noise_floor(own, std::max<std::size_t>(64, turns_), 1);
  row.sound.resize(sound_lines_);
  for (std::size_t k = 0; k < sound_lines_; ++k) {
    const double q = own.power[k] / floor[k];
    sound_power_[k] += q;
    row.sound[k] = half_decibels(static_cast<float>(q), kSoundFrom);
  }

  const std::size_t n = kEnvelopeSteps * turns_;
  windowed.resize(n);
  lines.resize(n / 2 + 1);
  std::size_t band = 0;
  const bool envelopes = blocks_ % every_ == 0;
  envelope_blocks_ += envelopes ? 1 : 0;
  row.envelopes.resize(fourth_.size() * envelope_lines_);
  for (const Layer& layer : layers_) {
    for (std::size_t b = 0; envelopes && b < layer.bank.bands().size(); ++b, ++band) {
      const std::span<const float> values = std::span(layer.values).subspan(b * n, n);
      // Speed and road change the level slowly: a straight line through the block is taken out.
      double mean = 0;
      double slope = 0;
      const double middle = (static_cast<double>(n) - 1) / 2;
      for (std::size_t i = 0; i < n; ++i) {
        mean += values[i];
        slope += (static_cast<double>(i) - middle) * values[i];
      }
      const auto count = static_cast<double>(n);
      mean /= count;
      slope *= 12 / (count * (count * count - 1));
      if (!(mean > 0)) {
        continue;  // silence has no envelope
      }
      double fourth = 0;
      for (std::size_t turn = 0; turn < n; turn += kEnvelopeSteps) {
        const double level =
            mean + slope * (static_cast<double>(turn) + kEnvelopeSteps / 2.0 - middle);
        const auto over = static_cast<float>(1 / std::max(level, mean / 10));
        float squares = 0;
        for (std::size_t i = turn; i < turn + kEnvelopeSteps; ++i) {
          const float e = values[i] * over;
          squares += e * e;
          windowed[i] = (e - 1) * envelope_window_[i];
        }
        fourth += squares;
      }
      fourth_[band] += fourth / count;
      envelope_transform_.forward(windowed, lines);
      // Amplitude of a line: twice its bin, over the window's sum of n / 2.
      const auto scale = static_cast<float>(16 / (count * count));
      double* const power = envelope_power_.data() + band * envelope_lines_;
      std::uint8_t* const levels = row.envelopes.data() + band * envelope_lines_;
      for (std::size_t k = 0; k < envelope_lines_; ++k) {
        const float p = std::norm(lines[k]) * scale;
        power[k] += p;
        levels[k] = half_decibels(p, kEnvelopeFrom);
      }
    }
  }
  ++blocks_;
  if (!rows_.empty() && rows_.back().blocks < per_row_) {
    // Rows that hold several blocks keep the greater level of each line.
    Row& last = rows_.back();
    for (std::size_t k = 0; k < row.sound.size(); ++k) {
      last.sound[k] = std::max(last.sound[k], row.sound[k]);
    }
    for (std::size_t k = 0; k < row.envelopes.size(); ++k) {
      last.envelopes[k] = std::max(last.envelopes[k], row.envelopes[k]);
    }
    last.load = last.load == row.load ? row.load : -1;
    ++last.blocks;
    return;
  }
  if (rows_.size() == kMostRows) {
    merge_rows();
  }
  rows_.push_back(std::move(row));
}

void OrderAnalyser::merge_rows() {
  for (std::size_t i = 0; 2 * i + 1 < rows_.size(); ++i) {
    Row& one = rows_[2 * i];
    const Row& two = rows_[2 * i + 1];
    for (std::size_t k = 0; k < one.sound.size(); ++k) {
      one.sound[k] = std::max(one.sound[k], two.sound[k]);
    }
    for (std::size_t k = 0; k < one.envelopes.size(); ++k) {
      one.envelopes[k] = std::max(one.envelopes[k], two.envelopes[k]);
    }
    one.seconds = (one.seconds + two.seconds) / 2;
    one.load = one.load == two.load ? one.load : -1;
    one.blocks += two.blocks;
    if (i > 0) {
      rows_[i] = std::move(one);
    }
  }
  rows_.resize(rows_.size() / 2);
  per_row_ *= 2;
}

Spectrum OrderAnalyser::sound() const {
  const auto n = static_cast<double>(std::max<std::size_t>(blocks_, 1));
  Spectrum s{1 / per_order(), std::max(1.0, kIndependent * n), sound_power_};
  for (double& p : s.power) {
    p /= n;
  }
  return s;
}

std::vector<BandEnvelope> OrderAnalyser::envelopes() const {
  std::vector<BandEnvelope> out;
  const auto n = static_cast<double>(std::max<std::size_t>(envelope_blocks_, 1));
  const double independent = every_ == 1 ? kIndependent * n : n;
  std::size_t band = 0;
  for (const Layer& layer : layers_) {
    for (const BandBank::Band& edges : layer.bank.bands()) {
      BandEnvelope e{edges.low, edges.high, fourth_[band] / n, {}, {}};
      e.spectrum = {1 / per_order(), std::max(1.0, independent),
                    std::vector<double>(envelope_lines_)};
      for (std::size_t k = 0; k < envelope_lines_; ++k) {
        e.spectrum.power[k] = envelope_power_[band * envelope_lines_ + k] / n;
      }
      out.push_back(std::move(e));
      ++band;
    }
  }
  return out;
}

}  // namespace dryshaft::noise
