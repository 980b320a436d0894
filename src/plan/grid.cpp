// The grid of beliefs: those that can be reached, the close ones taken for one.
#include <algorithm>
#include <cmath>

#include "plan/decision.hpp"

namespace dryshaft::plan {
namespace {

constexpr double kNeverSeen = 1e-9;

Row through(const Row& belief, const std::vector<Row>& to, std::size_t stages) {
  Row out{};
  for (std::size_t from = 0; from < stages; ++from) {
    for (std::size_t s = from; s < stages; ++s) {
      out[s] += belief[from] * to[from][s];
    }
  }
  return out;
}

class GridMaker {
 public:
  GridMaker(const Problem& p, const Fineness& f, std::size_t longest)
      : p_(p), fine_(f), n_(p.stages()), longest_(longest) {}

  void move(Track& t, const std::vector<double>& onset) const {
    for (std::size_t k = 0; k < t.steps; ++k) {
      // Without onsets every step is the same.
      if (onset.empty() && k > 0) {
        t.motion.push_back(t.motion.front());
      } else {
        t.motion.push_back(motion(p_, onset.empty() ? 0 : onset[k]));
      }
    }
    t.span.resize(t.steps);
    t.broke.resize(t.steps);
    t.point.resize(t.steps + 1);
    for (std::size_t k = 0; k < t.steps; ++k) {
      std::vector<Row> at(n_);
      for (std::size_t s = 0; s < n_; ++s) {
        at[s][s] = 1;
      }
      t.span[k].push_back(at);
      for (std::size_t m = 0; m < longest_ && k + m < t.steps; ++m) {
        Row broke{};
        for (std::size_t s = 0; s < n_; ++s) {
          for (std::size_t to = s; to < n_; ++to) {
            broke[s] += at[s][to] * t.motion[k + m].breaks[to];
          }
        }
        t.broke[k].push_back(broke);
        for (Row& row : at) {
          row = through(row, t.motion[k + m].to, n_);
        }
        t.span[k].push_back(at);
      }
    }
  }

  [[nodiscard]] Point point(const Track& t, std::size_t step, const Row& belief) const {
    Point p;
    p.belief = belief;
    if (step >= t.steps) {
      return p;
    }
    for (const std::vector<Row>& span : t.span[step]) {
      p.arrive.push_back(through(belief, span, n_));
    }
    for (const Row& broke : t.broke[step]) {
      double sum = 0;
      for (std::size_t s = 0; s < n_; ++s) {
        sum += belief[s] * broke[s];
      }
      p.breaks.push_back(sum);
    }
    return p;
  }

  // Beliefs after each result of a check at `step`, from the chances of the stages before it.
  void look(Track& t, std::size_t step, const Row& before) {
    for (std::size_t r = 0; r < t.seen->size(); ++r) {
      Row after{};
      double sum = 0;
      for (std::size_t s = 0; s < n_; ++s) {
        after[s] = before[s] * (*t.seen)[r].chance[s];
        sum += after[s];
      }
      if (sum < kNeverSeen) {
        continue;
      }
      for (std::size_t s = 0; s < n_; ++s) {
        after[s] /= sum;
      }
      add(t, step, r, after);
    }
  }

  void spread(Track& t, std::size_t step, const Point& from, std::size_t most,
              std::size_t least = 1) {
    for (const std::size_t wait : t.waits) {
      if (wait >= least && wait <= most && step + wait < t.steps) {
        look(t, step + wait, from.arrive[wait]);
      }
    }
  }

  // From each step on, in order: points are only added to later steps.
  void grow(Track& t) {
    for (std::size_t k = 0; k < t.steps; ++k) {
      t.point[k].resize(t.seen->size());
      for (std::size_t r = 0; r < t.seen->size(); ++r) {
        for (std::size_t i = 0; i < t.point[k][r].size(); ++i) {
          spread(t, k, t.point[k][r][i], (*t.seen)[r].most_steps);
        }
        if (fine_.corners) {
          corners(t, k, r);
        } else if (t.point[k][r].empty()) {
          // Never seen from the beliefs kept, but a policy needs an answer to it.
          Row any{};
          std::fill_n(any.begin(), n_, 1.0 / static_cast<double>(n_));
          put(t, k, r, any);
        }
      }
    }
  }

  void corners(Track& t, std::size_t step, std::size_t result) {
    for (std::size_t s = 0; s < n_; ++s) {
      Row corner{};
      corner[s] = 1;
      put(t, step, result, corner);
    }
  }

  void put(Track& t, std::size_t step, std::size_t result, const Row& belief) {
    t.point[step].resize(t.seen->size());
    t.point[step][result].push_back(point(t, step, belief));
    ++points_;
  }

  void add(Track& t, std::size_t step, std::size_t result, const Row& belief) {
    t.point[step].resize(t.seen->size());
    const std::vector<Point>& there = t.point[step][result];
    const bool known = std::ranges::any_of(there, [&](const Point& p) {
      double apart = 0;
      for (std::size_t s = 0; s < n_; ++s) {
        apart += std::abs(p.belief[s] - belief[s]);
      }
      return apart / 2 < fine_.near;
    });
    const bool renewed = t.kind == Track::Kind::renewed;
    if (!known && there.size() < (renewed ? fine_.most_renewed : fine_.most)) {
      put(t, step, result, belief);
    }
  }

  [[nodiscard]] std::size_t points() const { return points_; }

 private:
  const Problem& p_;
  const Fineness& fine_;
  std::size_t n_;
  std::size_t longest_;
  std::size_t points_ = 0;
};

}  // namespace

Grid::Grid(const Problem& given, const Fineness& fineness) : problem(given) {
  for (const std::vector<Seen>* list : problem.all_seen()) {
    for (const Seen& s : *list) {
      longest = std::max(longest, s.most_steps);
    }
  }
  longest = std::min(std::max(longest, problem.now.most_steps), problem.steps);
  std::erase_if(problem.waits, [&](std::size_t w) { return w > longest || w == 0; });
  const std::size_t n = problem.stages();
  GridMaker maker(problem, fineness, longest);
  Row dry{};
  dry[0] = 1;
  if (!problem.onset_renewed.empty()) {
    renewed.emplace();
    renewed->kind = Track::Kind::renewed;
    renewed->steps = problem.steps;
    renewed->seen = &problem.seen_renewed;
    // Every other distance, from the longest down: little happens to a new seal.
    for (std::size_t i = problem.waits.size(); i > 0; i -= std::min<std::size_t>(i, 2)) {
      renewed->waits.insert(renewed->waits.begin(), problem.waits[i - 1]);
    }
    maker.move(*renewed, problem.onset_renewed);
    renewed->entry = maker.point(*renewed, 0, dry);
    maker.spread(*renewed, 0, renewed->entry, problem.seen_renewed.front().most_steps);
    maker.grow(*renewed);
  }
  const auto bypasses = [](const Seen& s) {
    return s.allowed[static_cast<std::size_t>(Work::bypass)];
  };
  if (bypasses(problem.now) || std::ranges::any_of(problem.seen, bypasses) ||
      (renewed && std::ranges::any_of(problem.seen_renewed, bypasses))) {
    closed.emplace();
    closed->kind = Track::Kind::closed;
    closed->steps = problem.steps;
    closed->seen = &problem.seen_closed;
    closed->waits = problem.waits;
    maker.move(*closed, {});
    // Nothing leaks after a bypass, so the chance of damage is what matters.
    for (std::size_t k = 0; k < closed->steps; ++k) {
      for (std::size_t r = 0; r < problem.seen_closed.size(); ++r) {
        for (const double damaged : {0.0, 0.01, 0.05, 0.2, 0.6}) {
          Row belief{};
          belief[0] = 1 - damaged;
          belief[n - 1] += damaged;
          maker.put(*closed, k, r, belief);
        }
        if (fineness.corners) {
          maker.corners(*closed, k, r);
        }
      }
    }
  }
  own.kind = Track::Kind::own;
  own.steps = problem.steps;
  own.seen = &problem.seen;
  own.waits = problem.waits;
  maker.move(own, problem.onset);
  root = maker.point(own, 0, problem.start);
  maker.look(own, 0, problem.start);
  maker.spread(own, 0, root, problem.now.most_steps, problem.first_steps);
  maker.grow(own);
  points = maker.points();
}

}  // namespace dryshaft::plan
