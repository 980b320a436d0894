// Synthetic recordings: what a microphone under the bonnet hears of a drive unit.
//
// All figures of the model (levels, laws of speed and load, resonances, flutes) are invented,
// unless they say otherwise; orders come from the machine's own data. The model is made from how
// the noise arises, not from what the analysis looks for, so that a detection rate measured on it
// says something about the analysis, and nothing about any real drive unit.
//
// Modelled:
// - Speed: straight from point to point, and a driver's slow wander about it. The rotor's turns are
//   its integral in closed form: exact at any time, no drift.
// - Tones, each with a phase of its own: orders 1 to 3 of the rotor and of the wheel; the mesh of
//   each stage, 3 harmonics, modulated at the shaft orders of both its gears; the motor at 2 and 6
//   times pole pairs, and the passing of slots (bars, of a cage rotor) modulated at 2 times pole
//   pairs. A cage rotor's field runs ahead of it by its slip under load, and behind when coasting.
// - The way into the microphone: a gain that ripples over frequency, drawn by the seed, so that a
//   tone swells and fades along a ramp. Tones below 15 Hz are faint; nothing sounds above 0.48 of
//   the sampling rate.
// - Road and wind: coloured noise that rises with speed; the microphone's own noise; mains hum.
// - A single defect of a bearing: impulses at its order, spaced with small random errors that add
//   up (as slipping elements do), of unequal strength, each ringing in structural resonances. On
//   the inner race the load zone modulates them once a turn of the shaft; on an element, which
//   meets both races each turn, once a turn of the cage.
// - A washboard: near-equal flutes round a race. Each element in the load zone feels a smooth force
//   as it runs over them, which sounds directly and through the same resonances.
// - Knocks of something else: blows in step with wheel or shaft, or at a rate of their own, each
//   ringing as a defect's do. Places round a turn may knock unequally, and all may swell with a
//   turn of the wheel.
// - What else is about: tones, hum, a fan, tread, a voice, gusts, gravel, music.
// - The recorder: gain, clipping, 16-bit steps, a second channel, a dead side.
//
// Not modelled: automatic gain control, lossy coding, tyre slip, gear changes (there is one gear),
// the inverter's switching, torsional vibration, sound paths with delay, faults that come and go.
//
// Draws are made from std::mt19937_64 and sines from arithmetic of its own: what differs between
// libraries is the last digit of a few constants. Each part draws from a stream of its own: a fault
// added or made louder leaves all else as it was.
#ifndef DRYSHAFT_TESTS_DRIVE_NOISE_HPP
#define DRYSHAFT_TESTS_DRIVE_NOISE_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "dryshaft/noise.hpp"

namespace dryshaft::synthetic {

// ------------------------------------------------------------------ how it is driven

struct RoadSpeed {
  double seconds = 0;
  double km_per_h = 0;
};

struct Drive {
  std::vector<RoadSpeed> speed = {{0, 60}};  // in order of time; constant outside
  double wander = 0.004;                     // rms, as a share of the speed
  std::vector<LoadMark> loads;               // steady where there is none
};

// The speed as it was, and its integral.
class Motion {
 public:
  // `ratio`: turns of the rotor for one of the wheel.
  Motion(const Drive& drive, double circumference_m, double ratio, std::uint64_t seed);
  [[nodiscard]] double km_per_h(double seconds) const;
  [[nodiscard]] double rotor_hz(double seconds) const;
  [[nodiscard]] double rotor_turns(double seconds) const;  // since 0 s; seconds >= 0

 private:
  struct Piece {  // of the straight line
    double from = 0;
    double speed = 0;  // km/h at `from`
    double slope = 0;  // km/h a second
    double done = 0;   // integral up to `from`, km/h times seconds
  };
  struct Wave {
    double share = 0;
    double hz = 0;
    double phase = 0;
  };
  [[nodiscard]] const Piece& piece(double seconds) const;
  [[nodiscard]] double integral(const Piece& piece, double seconds) const;

  std::vector<Piece> pieces_;
  std::array<Wave, 3> waves_;
  double hz_per_km_h_;
};

// ----------------------------------------------------------------------- what sounds

inline constexpr double kSilent = -300;  // dB

// Power at 60 km/h under full load, in dB relative to the road's; the microphone's noise and the
// mains are the same at any speed. Each single tone's level is drawn within 3 dB either way.
struct Levels {
  double road = 0;
  double wind = -8;
  double microphone = -45;
  double wheel = -12;
  double rotor = -28;
  double mesh = -18;  // each stage
  double electrical = -22;
  double mains = kSilent;  // 50 Hz and two harmonics
};

// Amplitude under each load, by `Load`.
struct LoadGains {
  std::array<double, kLoadCount> mesh = {1, 0.5, 0.3};
  std::array<double, kLoadCount> electrical = {1, 0.4, 0.25};
  std::array<double, kLoadCount> bearing = {1, 0.5, 0.1};
  std::array<double, kLoadCount> field_slip = {0.012, 0.004, -0.005};  // cage rotors alone
};

struct Resonance {
  double hz = 0;
  double damping = 0.03;  // share of critical
  double share = 1;       // amplitude
};

struct Fault {
  Bearing bearing;  // its shaft turns with the rotor
  NoiseKind kind = NoiseKind::outer_race;
  bool washboard = false;  // races alone
  double db = -10;         // its power over that of all that is no fault, in the whole signal
  // Share by which the cage, and an element's spin, lag behind rolling without slip.
  double slip = 0.005;
  // Single defect: error of each spacing, rms, as a share of it. Washboard: each element's place in
  // the cage is off by that share of their spacing.
  double jitter = 0.01;
  double load_zone = 0.8;  // Stribeck's load distribution factor: 0.5 half the race, 1 all of it
  int flutes = 100;
  double flute_jitter = 0.05;         // rms, as a share of the spacing of flutes
  std::vector<Resonance> resonances;  // empty: two, drawn by the seed
};

// Blows of something that is no bearing of the unit.
struct Knocks {
  double order = 0;      // a turn of the rotor; 0: `hz` counts
  double hz = 0;         // a second
  double db = -10;       // as of a fault
  double jitter = 0.01;  // as of a single defect
  int places = 1;        // that knock in turn: balls of a joint, vanes of a pump
  double unequal = 0;    // rms by which the strengths of the places differ
  double swell = 0;      // depth, 0 to 1
  double swell_order = 0;
  std::vector<Resonance> resonances;  // empty: two, drawn by the seed
};

// What is about besides the drive and the road.
enum class Ambience : std::uint8_t {
  nothing,
  tones,   // steady ones, some in pairs that beat
  hum,     // of the mains, with many multiples
  fan,     // blades that modulate a rush of air, at a rate of their own
  tread,   // blocks of unequal length, and roar that swells with the wheel
  voice,   // pulses through three formants, in syllables
  gusts,   // wind that swells by itself
  gravel,  // stones that hit sheet metal, at no rate
  music,   // chords and a beat
  whine    // meshes far louder than usual, deeply modulated by all shafts
};
inline constexpr std::size_t kAmbienceCount = 10;

// The bearing's orders with that slip; reference: its shaft.
DefectOrders slipped_orders(const Bearing& bearing, double slip);

// ------------------------------------------------------------------------- recording

struct Microphone {
  double level_db = -22;  // rms of the whole signal before clipping, relative to full scale
  double clip_at = 1;     // full scale is 1
  bool sixteen_bits = true;
  std::size_t channels = 1;                 // the second hears the same, 2 dB fainter
  std::optional<std::size_t> dead_channel;  // holds zeros
};

struct DriveNoise {
  Machine machine;
  double circumference_m = 1.97;  // of the tyre
  Drive drive;
  Levels levels;
  LoadGains gains;
  std::vector<Fault> faults;
  std::vector<Knocks> knocks;
  Ambience ambience = Ambience::nothing;
  double ambience_db = 0;  // its power over that of drive and road
  Microphone microphone;
  double rate = 48000;
  double seconds = 20;
  std::uint64_t seed = 1;
};

struct DriveRecording {
  double rate = 0;
  std::size_t channels = 1;
  std::vector<float> samples;  // channels interleaved
  Motion motion;               // as it was
  double background_rms = 0;   // before the microphone's gain, road at 60 km/h being 1
  double gain = 0;             // the microphone's: of the first channel, full scale being 1
  double clipped = 0;          // share of the samples
};

DriveRecording record(const DriveNoise& what);

// One channel, as the analysis takes it; `recording` must outlive it.
Recording channel(const DriveRecording& recording, std::size_t which = 0);

}  // namespace dryshaft::synthetic

#endif
