// Diagnoses per second on one core: prior and inference on prepared cases; inference next to a
// plain double loop over states that computes the same; looks through the process. Prints, judges
// nothing.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "diagnose/model.hpp"

namespace dryshaft {
namespace {

std::vector<NamedText> files(const char* folder) {
  std::vector<NamedText> texts;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    std::ifstream in(entry.path());
    texts.push_back({entry.path().string(), {std::istreambuf_iterator<char>(in), {}}});
  }
  return texts;
}

// The risk, state by state and finding by finding.
double plain(const Model& model, const Case& c, const Prior& prior) {
  double all = 0;
  double damaged = 0;
  const std::uint32_t seen = model.evidence_in(c);
  const std::array<double, kBreakdowns> unsaid = model.unsaid(c.level);
  for (std::size_t kind = 0; kind < kBreakdowns; ++kind) {
    for (std::size_t s = 0; s < kStateCount; ++s) {
      double p = prior.state[kind][s] * unsaid[kind];
      for (const FindingSpec& f : findings()) {
        if ((seen >> static_cast<unsigned>(f.id) & 1U) != 0) {
          p *= model.likelihood(f.id, c.at(f.id))[s] * model.broken(f.id, c.at(f.id))[kind];
        }
      }
      all += p;
      damaged += p * prior.damaged[s];
    }
  }
  return damaged / all;
}

// A unit that was looked at so often, every 2,000 km.
Case often(const Case& last, std::size_t looks) {
  Case c = last;
  Course course;
  Clock at;
  for (std::size_t i = 0; i < looks; ++i) {
    Leg& leg = course.legs.emplace_back();
    leg.from = at;
    at = at.later(2000, 0.1);
    leg.to = at;
    leg.seen = last.level;
    leg.look = i;
  }
  course.end = at;
  c.seal_km = at.seal_km;
  c.seal_years = at.seal_years;
  c.course = std::make_shared<const Course>(std::move(course));
  return c;
}

// A technician's record: the port, the noise, the drive; some of it left out.
std::vector<Case> prepared(std::size_t count) {
  std::vector<Case> cases;
  std::uint64_t x = 88172645463325252U;
  const auto below = [&x](std::uint64_t n) {  // xorshift64 (Marsaglia 2003)
    x ^= x << 13U;
    x ^= x >> 7U;
    x ^= x << 17U;
    return static_cast<int>(x % n);
  };
  while (cases.size() < count) {
    Case c = empty_case();
    for (const FindingSpec& f : findings()) {
      if (exists(f.id, c.level) && !f.from_history && below(3) != 0) {
        c.set(f.id, below(2) == 0 ? 0 : below(f.levels.size()));
      }
    }
    c.set(Situation::rotor_cooling, below(4));
    c.set(Situation::rotor_bearings, below(3));
    c.set(Situation::gear_bearings, below(3));
    c.seal_km = below(400000);
    c.seal_years = c.seal_km / 20000;
    cases.push_back(c);
  }
  return cases;
}

template <typename Infer>
double per_second(const std::vector<Case>& cases, double least_seconds, double& checksum,
                  const Infer& infer) {
  const std::clock_t start = std::clock();  // of this process: other load does not count
  std::size_t done = 0;
  double seconds = 0;
  while (seconds < least_seconds) {
    for (const Case& c : cases) {
      checksum += infer(c);
    }
    done += cases.size();
    seconds = static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
  }
  return static_cast<double>(done) / seconds;
}

int run() {
  const Result<Knowledge> knowledge =
      load_knowledge(files(DRYSHAFT_DATA_DIR "/rules"), files(DRYSHAFT_DATA_DIR "/families"));
  if (!knowledge.value) {
    std::fprintf(stderr, "the shipped rules cannot be read\n");
    return 1;
  }
  const Model model(*knowledge.value);
  const std::vector<Case> cases = prepared(4096);
  double findings_seen = 0;
  double apart = 0;
  for (const Case& c : cases) {
    findings_seen +=
        static_cast<double>(std::ranges::count_if(c.level, [](int l) { return l >= 0; }));
    const Prior prior = model.prior(c);
    apart = std::max(apart, std::abs(model.infer(c, prior).risk - plain(model, c, prior)));
  }
  double checksum = 0;
  const double fast =
      per_second(cases, 2, checksum, [&](const Case& c) { return model.infer(c).risk; });
  const Prior prior = model.prior(cases.front());
  const double known =
      per_second(cases, 2, checksum, [&](const Case& c) { return model.infer(c, prior).risk; });
  const double slow =
      per_second(cases, 2, checksum, [&](const Case& c) { return plain(model, c, prior); });
  std::printf(
      "%.2f million diagnoses a second on one core, %.2f where the prior is known; %.1f findings "
      "each on average\n",
      fast / 1e6, known / 1e6, findings_seen / static_cast<double>(cases.size()));
  std::printf(
      "plain double loop: %.2f million a second; %.1f times slower; risks differ by %.1g at "
      "most\n",
      slow / 1e6, known / slow, apart);
  constexpr std::size_t kLooks = 100;
  const std::vector<Case> histories = {often(cases.front(), kLooks)};
  const double looks = kLooks * per_second(histories, 2, checksum,
                                           [&](const Case& c) { return model.infer(c).risk; });
  std::printf("%.2f million looks a second through the process\n", looks / 1e6);
  return apart < 1e-12 && checksum > 0 ? 0 : 1;
}

}  // namespace
}  // namespace dryshaft

int main() { return dryshaft::run(); }
