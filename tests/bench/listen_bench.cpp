// How long listening takes, beside one transform of the same samples, and how often noise alone is
// named.
//
//     listen_bench [NOISE_SIGNALS]
//
// Prints seconds of processor time for 60 s of sound at 48 kHz (best of five), their ratio to
// Fourier transforms of the same samples in the same run, and the share of noise signals in which a
// bearing is named at a stated 5 %, with the depth that is else asked for left out and kept.
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <random>

#include "noise/fourier.hpp"
#include "support.hpp"
#include "support/drive_noise.hpp"

namespace dryshaft {
namespace {

template <typename Work>
double seconds(Work work) {
  constexpr int kRuns = 5;
  double best = 1e9;
  for (int i = 0; i < kRuns; ++i) {
    const std::clock_t start = std::clock();
    work();
    best = std::min(best, static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
  }
  return best;
}

void time_listening() {
  synthetic::DriveNoise what;
  what.machine = *test::shipped().family("plover-2").machine;
  what.seconds = 60;
  synthetic::Fault fault;
  fault.bearing = what.machine.gear_bearings[0];
  what.faults = {fault};
  const synthetic::DriveRecording recording = synthetic::record(what);
  const Recording channel = synthetic::channel(recording);
  const double rpm = rotor_rpm(60, what.circumference_m, what.machine.ratio());
  std::size_t named = 0;
  const double unit = seconds([&] {
    channel.rewind();
    named = listen_to_machine(channel, what.machine, {SpeedBasis::constant, {{0, rpm}}}, {}, {})
                .value->named.size();
  });
  const double plain = seconds([&] {
    channel.rewind();
    named += listen_to_bearings(channel, what.machine.gear_bearings, rpm, {}).value->named.size();
  });
  constexpr std::size_t kBlock = std::size_t{1} << 14U;
  const noise::RealTransform transform(kBlock);
  std::vector<std::complex<float>> bins(kBlock / 2 + 1);
  const double transforms = seconds([&] {
    for (std::size_t i = 0; i + kBlock <= recording.samples.size(); i += kBlock) {
      transform.forward(std::span(recording.samples).subspan(i, kBlock), bins);
    }
  });
  std::printf("60 s at 48 kHz, drive unit:     %.3f s, %.1f times its transforms\n", unit,
              unit / transforms);
  std::printf("60 s at 48 kHz, plain bearings: %.3f s, %.1f times its transforms\n", plain,
              plain / transforms);
}

void count_false_alarms(int signals, double least_depth) {
  NoiseOptions options;
  options.false_alarm = 0.05;
  options.least_depth = least_depth;
  std::mt19937 draw(2024);
  std::normal_distribution<float> hiss;
  int named = 0;
  for (int i = 0; i < signals; ++i) {
    std::size_t left = 24000;
    const Recording recording{8000,
                              [&](std::span<float> out) {
                                const std::size_t n = std::min(out.size(), left);
                                std::generate_n(out.begin(), n, [&] { return hiss(draw); });
                                left -= n;
                                return n;
                              },
                              {}};
    const Result<NoiseReport> r =
        listen_to_bearings(recording, {{"b", 11, 6.2, 43.5, 0}}, 1500, options);
    named += r.value && !r.value->named.empty() ? 1 : 0;
  }
  std::printf("named in %d of %d noise signals at a stated 5 %%, least depth %.1f\n", named,
              signals, least_depth);
}

}  // namespace
}  // namespace dryshaft

int main(int count, char** arguments) {
  const int signals = count > 1 ? std::atoi(arguments[1]) : 10000;
  dryshaft::time_listening();
  dryshaft::count_false_alarms(signals, 1e-9);
  dryshaft::count_false_alarms(signals, dryshaft::NoiseOptions{}.least_depth);
  return 0;
}
