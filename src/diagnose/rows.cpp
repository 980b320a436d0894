#include "diagnose/rows.hpp"

#include <cstring>
#include <tuple>
#include <utility>

#include "base/two.hpp"

namespace dryshaft {
namespace {

// Where the pairs that come to a harm begin.
constexpr std::size_t first_pair(std::size_t to) {
  std::size_t n = 0;
  while (n < kHarmPairs.size() && kHarmPairs[n].to < to) {
    ++n;
  }
  return n;
}

template <typename Lanes>
constexpr std::size_t kIn = sizeof(Lanes) / sizeof(double);

template <typename Lanes>
[[gnu::always_inline]] inline void add(Lanes& sum, const double* from, double by) {
  Lanes x;
  std::memcpy(&x, from, sizeof x);
  sum += x * by;
}

template <typename Lanes, std::size_t N>
[[gnu::always_inline]] inline void add(std::array<Lanes, N>& sum, const double* from, double by) {
  for (std::size_t i = 0; i < N; ++i) {
    add(sum[i], from + i * kIn<Lanes>, by);
  }
}

// What comes to one harm in one stage of the seal, from all stages so far.
template <typename Lanes, std::size_t To, std::size_t... Pair>
[[gnu::always_inline]] inline void come_to(Rows& rows, std::size_t stage,
                                           const std::array<const HarmChances*, kSealStates>& by,
                                           std::index_sequence<Pair...>) {
  std::array<Lanes, kRests / kIn<Lanes>> sum{};
  for (std::size_t from = 0; from <= stage; ++from) {
    const auto* const here = rows.data() + from * kTight;
    const double* const chances = by[from]->data() + first_pair(To);
    (add(sum, here[kHarmPairs[first_pair(To) + Pair].from].data(), chances[Pair]), ...);
  }
  std::memcpy(rows[stage * kTight + To].data(), &sum, sizeof sum);
}

// In place, the worst first: nothing heals, so what is still to come needs no row that has changed.
template <typename Lanes, std::size_t... Harm>
[[gnu::always_inline]] inline void move_all(Rows& rows, const StageChances& by,
                                            std::index_sequence<Harm...>) {
  for (std::size_t stage = kSealStates; stage-- > 0;) {
    (come_to<Lanes, kTight - 1 - Harm>(
         rows, stage, by[stage],
         std::make_index_sequence<first_pair(kTight - Harm) - first_pair(kTight - 1 - Harm)>()),
     ...);
  }
}

template <typename Lanes>
[[gnu::always_inline]] inline void move_all(Rows& rows, const StageChances& by) {
  move_all<Lanes>(rows, by, std::make_index_sequence<kTight>());
}

template <typename Lanes>
using LaneSums = std::array<Lanes, std::tuple_size_v<Reached> / kIn<Lanes>>;

// States with a leak, from those that leak in one stage.
template <typename Lanes, std::size_t Stage>
[[gnu::always_inline]] inline void from_stage(LaneSums<Lanes>& sums, const Cores& cores,
                                              const CoreChances& by) {
  constexpr std::size_t kFirst = (Stage - 1) * kTight;
  for (std::size_t from = kFirst; from < kFirst + kTight; ++from) {
    for (std::size_t i = kFirst / kIn<Lanes>; i < sums.size(); ++i) {
      add(sums[i], &by.leaking[from][i * kIn<Lanes>], cores[kTight + from]);
    }
  }
}

template <typename Lanes>
[[gnu::always_inline]] inline void move_all(Cores& cores, const CoreChances& by, double stay,
                                            double even, double late) {
  LaneSums<Lanes> sums{};
  for (std::size_t from = 0; from < kTight; ++from) {
    add(sums, by.begun[from].data(), cores[from] * even);
    add(sums, by.late[from].data(), cores[from] * late);
  }
  static_assert(kSealStages == 3);
  from_stage<Lanes, 1>(sums, cores, by);
  from_stage<Lanes, 2>(sums, cores, by);
  from_stage<Lanes, 3>(sums, cores, by);
  std::array<Two, (kTight + 1) / 2> tight{};
  for (std::size_t from = 0; from < kTight; ++from) {
    add(tight, by.harmed[from].data(), cores[from] * stay);
  }
  std::memcpy(cores.data(), tight.data(), kTight * sizeof(double));
  std::memcpy(&cores[kTight], sums.data(), kLeaks * sizeof(double));
}

#if defined(__x86_64__)
using Four = double __attribute__((vector_size(32)));
[[gnu::target("avx")]] void move_by_four(Rows& rows, const StageChances& by) {
  move_all<Four>(rows, by);
}
[[gnu::target("avx")]] void move_by_four(Cores& cores, const CoreChances& by, double stay,
                                         double even, double late) {
  move_all<Four>(cores, by, stay, even, late);
}
bool has_four() {
  static const bool has = __builtin_cpu_supports("avx") != 0;
  return has;
}
#endif

}  // namespace

void move_rows(Rows& rows, const StageChances& by) {
#if defined(__x86_64__)
  if (has_four()) {
    move_by_four(rows, by);
    return;
  }
#endif
  move_all<Two>(rows, by);
}

void move_cores(Cores& cores, const CoreChances& by, double stay, double even, double late) {
#if defined(__x86_64__)
  if (has_four()) {
    move_by_four(cores, by, stay, even, late);
    return;
  }
#endif
  move_all<Two>(cores, by, stay, even, late);
}

}  // namespace dryshaft
