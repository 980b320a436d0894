// Diagnoses per second on one core: prior and inference on prepared cases, next
// to a plain double loop over states that computes the same. Prints, judges nothing.
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
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

// The formulas of diagnose.hpp, state by state and cause by cause.
Posterior plain(const Knowledge& k, const Model& model, const Case& c) {
  States states{};
  for (std::size_t s = 0; s < kStateCount; ++s) {
    double p = 1;
    for (std::size_t cause = 0; cause < kCauseCount; ++cause) {
      const CauseRule& rule = k.causes[cause];
      double absent = 1 - rule.base[rule.by ? c.at(*rule.by) : 0];
      if (rule.wear && (rule.wear->cooling >> c.at(Situation::rotor_cooling) & 1U) != 0) {
        absent *= std::exp(-std::pow(c.seal_km / rule.wear->scale_km, rule.wear->shape) -
                           std::pow(c.seal_years / rule.wear->scale_years, rule.wear->shape));
      }
      for (std::size_t parent = 0; parent < cause; ++parent) {
        absent *= (s >> parent & 1U) != 0 ? 1 - rule.given[parent] : 1;
      }
      p *= (s >> cause & 1U) != 0 ? 1 - absent : absent;
    }
    for (const FindingSpec& f : findings()) {
      const int level = c.at(f.id);
      if (level < 0 || !model.carries_evidence(f.id)) {
        continue;
      }
      const double like = model.likelihood(f.id, level)[s];
      p *= level == 0 && f.at_port && f.ordered ? 1 - c.port_weight * (1 - like) : like;
    }
    states[s] = p;
  }
  return posterior_of(states, model.damaging_states());
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
    c.port_weight = below(2) == 0 ? 1.0 : 0.7;
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
      checksum += infer(c).risk;
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
    apart = std::max(apart, std::abs(model.infer(c).risk - plain(*knowledge.value, model, c).risk));
  }
  double checksum = 0;
  const double fast = per_second(cases, 2, checksum, [&](const Case& c) { return model.infer(c); });
  const double slow = per_second(cases, 2, checksum,
                                 [&](const Case& c) { return plain(*knowledge.value, model, c); });
  std::printf("%.2f million diagnoses a second on one core, %.1f findings each on average\n",
              fast / 1e6, findings_seen / static_cast<double>(cases.size()));
  std::printf(
      "plain double loop: %.2f million a second; %.1f times slower; risks differ by %.1g at "
      "most\n",
      slow / 1e6, fast / slow, apart);
  return apart < 1e-12 && checksum > 0 ? 0 : 1;
}

}  // namespace
}  // namespace dryshaft

int main() { return dryshaft::run(); }
