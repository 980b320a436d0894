// A recording in the angle domain: order spectra of the sound and of the
// squared envelopes of its bands, averaged and row by row.
#ifndef DRYSHAFT_NOISE_ORDERS_HPP
#define DRYSHAFT_NOISE_ORDERS_HPP

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "noise/angle.hpp"
#include "noise/bank.hpp"
#include "noise/spectra.hpp"

namespace dryshaft::noise {

class OrderAnalyser {
 public:
  static constexpr std::size_t kSoundSteps = 256;  // samples a turn
  static constexpr std::size_t kEnvelopeSteps = 48;
  static constexpr float kSoundFrom = -40;  // dB at which rows begin
  static constexpr float kEnvelopeFrom = -110;
  static constexpr double kHighestSound = 100;  // orders kept
  static constexpr double kHighestEnvelope = 22;

  // `turns`: of a block. `envelopes`: false leaves them out.
  OrderAnalyser(double rate, const SpeedCurve& speed, std::size_t turns,
                std::vector<LoadMark> loads, bool envelopes = true);
  void add(std::span<const float> samples);
  void finish();  // after the last sample

  struct Row {
    double seconds = 0;
    int load = -1;
    std::size_t blocks = 1;
    std::vector<std::uint8_t> sound;      // half decibels over the block's own floor
    std::vector<std::uint8_t> envelopes;  // half decibels of the depth's square, band after band
  };
  [[nodiscard]] std::size_t blocks() const { return blocks_; }
  [[nodiscard]] double per_order() const { return static_cast<double>(turns_); }
  [[nodiscard]] Spectrum sound() const;  // over each block's own floor
  [[nodiscard]] std::vector<BandEnvelope> envelopes() const;
  [[nodiscard]] const std::vector<Row>& rows() const { return rows_; }
  [[nodiscard]] std::size_t envelope_lines() const { return envelope_lines_; }
  // Of a row's line, in decibels.
  static double sound_db(const Row& row, std::size_t line) {
    return row.sound[line] / 2.0 + kSoundFrom;
  }
  [[nodiscard]] double envelope_db(const Row& row, std::size_t band, std::size_t line) const {
    return row.envelopes[band * envelope_lines_ + line] / 2.0 + kEnvelopeFrom;
  }

 private:
  struct Layer {
    BandBank bank;
    Resampler stream;
    std::vector<float> values;  // of the current blocks: band after band
  };
  void turn(std::size_t number);
  void block();
  void merge_rows();
  [[nodiscard]] int load_between(double from, double to) const;

  double rate_;
  const SpeedCurve& speed_;
  std::size_t turns_;
  std::vector<LoadMark> loads_;
  std::size_t sound_lines_;
  std::size_t envelope_lines_;
  std::vector<Layer> layers_;
  Resampler sound_stream_;
  RealTransform whole_;
  std::vector<float> held_;  // samples that wait for a full block of the banks
  std::vector<std::complex<float>> bins_;
  double added_ = 0;  // s of samples
  double enveloped_ = 0;
  std::size_t next_turn_ = 0;
  std::size_t in_block_ = 0;  // turns so far
  double block_from_ = 0;     // s
  std::vector<float> sound_;
  RealTransform sound_transform_;
  RealTransform envelope_transform_;
  std::vector<float> sound_window_;
  std::vector<float> envelope_window_;
  std::vector<double> sound_power_;
  std::vector<double> envelope_power_;
  std::vector<double> fourth_;
  std::size_t blocks_ = 0;
  std::size_t envelope_blocks_ = 0;
  std::size_t every_ = 1;  // blocks, of which one has its envelopes looked at
  std::size_t per_row_ = 1;
  std::vector<Row> rows_;
};

}  // namespace dryshaft::noise

#endif
