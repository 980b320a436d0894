// Backwards from the horizon, over the points of the grid.
#include <algorithm>
#include <cmath>

#include "base/index.hpp"
#include "plan/decision.hpp"

namespace dryshaft::plan {
namespace {

constexpr double kUnknownYet = std::numeric_limits<double>::infinity();

// As many as a unit has are worth a sum of their own.
static_assert(kMostStages == 5);
double dot(const Row& a, const double* b, std::size_t n) {
  if (n == kMostStages) {
    return (a[0] * b[0] + a[1] * b[1]) + (a[2] * b[2] + a[3] * b[3]) + a[4] * b[4];
  }
  double sum = 0;
  for (std::size_t s = 0; s < n; ++s) {
    sum += a[s] * b[s];
  }
  return sum;
}

// What is done at a point, and what it costs there.
struct Choice {
  Node::Does does = Node::Does::wait;
  Work work = Work::rebuild;
  std::size_t wait = 0;
  double cost = kUnknownYet;
};

struct Where {
  const Track& track;
  std::size_t step = 0;
  std::size_t remaining = 0;
  std::uint8_t result = kNow;
};

// Costs of policies, one vector a policy: the least of them at a belief.
struct Policies {
  // Those that may follow one result of a check.
  struct Set {
    std::vector<std::uint32_t> ids;
    std::vector<double> seen;  // each vector times the chance of the result, for the check before
  };
  std::size_t stages = 0;
  Solution* out = nullptr;

  [[nodiscard]] const double* total(std::uint32_t node) const {
    return out->total.data() + node * stages;
  }
  void finish(Set& set, const Row* chance) const {
    set.seen.clear();
    for (const std::uint32_t id : set.ids) {
      for (std::size_t s = 0; s < stages; ++s) {
        set.seen.push_back(total(id)[s] * (*chance)[s]);
      }
    }
  }
  [[nodiscard]] std::uint32_t best(const Set& set, const Row& chances, bool before) const {
    std::uint32_t best = set.ids.front();
    double least = kUnknownYet;
    for (std::size_t i = 0; i < set.ids.size(); ++i) {
      const double* costs = before ? set.seen.data() + i * stages : total(set.ids[i]);
      if (const double cost = dot(chances, costs, stages); cost < least) {
        least = cost;
        best = set.ids[i];
      }
    }
    return best;
  }
  // From the chances of the stages after the result, or before it.
  [[nodiscard]] double cost(const Set& set, const Row& chances) const {
    double least = kUnknownYet;
    for (const std::uint32_t id : set.ids) {
      least = std::min(least, dot(chances, total(id), stages));
    }
    return least;
  }
  [[nodiscard]] double cost_before(const Set& set, const Row& chances,
                                   const Row& /*chance*/) const {
    double least = kUnknownYet;
    for (std::size_t i = 0; i < set.seen.size(); i += stages) {
      least = std::min(least, dot(chances, set.seen.data() + i, stages));
    }
    return least;
  }
};

// Values at points, and what concavity makes of them elsewhere.
struct Bounds {
  struct Set {
    Row corner{};
    std::vector<std::pair<Row, double>> above;  // belief, and its value over the corners' plane
  };
  std::size_t stages = 0;

  // Points were stored with their values; the corners are known by now.
  void finish(Set& set, const Row* /*chance*/) const {
    for (auto& [belief, value] : set.above) {
      value -= dot(belief, set.corner.data(), stages);
    }
  }
  [[nodiscard]] double cost(const Set& set, const Row& chances) const {
    double more = 0;
    for (const auto& [belief, over] : set.above) {
      double share = kUnknownYet;
      for (std::size_t s = 0; s < stages; ++s) {
        if (belief[s] > 0) {
          share = std::min(share, chances[s] / belief[s]);
        }
      }
      more = std::max(more, share * over);
    }
    return dot(chances, set.corner.data(), stages) + more;
  }
  [[nodiscard]] double cost_before(const Set& set, const Row& chances, const Row& chance) const {
    Row seen{};
    for (std::size_t s = 0; s < stages; ++s) {
      seen[s] = chances[s] * chance[s];
    }
    return cost(set, seen);
  }
};

template <typename Store>
class Sweep {
 public:
  using Set = typename Store::Set;
  using Sets = std::vector<std::vector<Set>>;  // [step][result]

  Sweep(const Grid& grid, const Costs& costs, Store store)
      : g_(grid), p_(grid.problem), c_(costs), n_(p_.stages()), store_(std::move(store)) {
    for (std::size_t s = 0; s < n_; ++s) {
      end_[s] = cost_at_end(p_, c_, s);
    }
    renewed_cost_.assign(p_.steps + 1, 0);
    renewed_node_.assign(p_.steps + 1, kNothing);
  }

  void run() {
    if (g_.closed) {
      closed_ = sets_for(*g_.closed);
    }
    for (std::size_t left = 1; left <= p_.steps; ++left) {
      if (g_.closed) {
        at_step(*g_.closed, p_.steps - left, left, closed_);
      }
      if (g_.renewed) {
        a_renewed_life(left);
      }
    }
    own_ = sets_for(g_.own);
    for (std::size_t left = 1; left <= p_.steps; ++left) {
      at_step(g_.own, p_.steps - left, left, own_);
    }
  }

  // Everything that can be done first: a check at once, the best wait, each work.
  std::vector<First> firsts() {
    const Where here{g_.own, 0, p_.steps, kNow};
    std::vector<First> all;
    const auto offer = [&](const Choice& choice) {
      if (choice.cost < kUnknownYet) {
        all.push_back({choice.does, choice.work, choice.wait, choice.cost,
                       keep(here, choice, own_, g_.root.belief)});
      }
    };
    if (!p_.seen.empty()) {
      offer({Node::Does::wait, Work::rebuild, 0, looked_at(here, 0, g_.root, own_)});
    }
    offer(first_wait(here));
    for (std::size_t w = 0; w < kWorkCount; ++w) {
      if (p_.now.allowed[w]) {
        const auto work = static_cast<Work>(w);
        offer({Node::Does::work, work, 0, worked(here, work, p_.now, g_.root.belief)});
      }
    }
    return all;
  }

  // The same again for choices already made: what they cost here.
  double cost_of(const First& first) {
    const Where here{g_.own, 0, p_.steps, kNow};
    if (first.does == Node::Does::work) {
      return worked(here, first.work, p_.now, g_.root.belief);
    }
    if (first.wait == 0) {
      return looked_at(here, 0, g_.root, own_);
    }
    return first_wait(here).cost;  // the bound holds for every wait
  }

  [[nodiscard]] const std::vector<double>& renewed_cost() const { return renewed_cost_; }
  [[nodiscard]] const std::vector<std::uint32_t>& renewed_node() const { return renewed_node_; }

 private:
  Sets sets_for(const Track& t) const { return Sets(p_.steps, std::vector<Set>(t.seen->size())); }

  Choice first_wait(const Where& here) {
    Choice wait;
    try_waits(here, g_.root, p_.now.most_steps, own_, wait, p_.first_steps);
    return wait;
  }

  [[nodiscard]] double after_breakdown(std::size_t left) const {
    return c_.breakdown + renewed_cost_[left];
  }

  void a_renewed_life(std::size_t total) {
    const Track& t = *g_.renewed;
    Sets sets = sets_for(t);
    for (std::size_t age = total - 1; age >= 1; --age) {
      at_step(t, age, total - age, sets);
    }
    const Where here{t, 0, total, 0};
    Choice wait;
    try_waits(here, t.entry, std::max<std::size_t>(1, p_.seen_renewed.front().most_steps), sets,
              wait);
    renewed_node_[total] = keep(here, wait, sets, t.entry.belief);
    renewed_cost_[total] = wait.cost;
  }

  void at_step(const Track& t, std::size_t step, std::size_t left, Sets& sets) {
    for (std::size_t r = 0; r < t.seen->size(); ++r) {
      const Where here{t, step, left, static_cast<std::uint8_t>(r)};
      const Seen& seen = (*t.seen)[r];
      for (const Point& p : t.point[step][r]) {
        Choice best;
        try_waits(here, p, seen.most_steps, sets, best);
        for (std::size_t w = 0; w < kWorkCount; ++w) {
          const auto work = static_cast<Work>(w);
          if (seen.allowed[w]) {
            if (const double cost = worked(here, work, seen, p.belief); cost < best.cost) {
              best = {Node::Does::work, work, 0, cost};
            }
          }
        }
        store_at(here, p, best, sets, sets[step][r]);
      }
      store_.finish(sets[step][r], &seen.chance);
    }
  }

  // Cost of a check after `wait` steps and of what follows, from `p` on.
  double looked_at(const Where& w, std::size_t wait, const Point& p, const Sets& sets) {
    const Row& there = p.arrive[wait];
    double cost = 0;
    for (std::size_t s = 0; s < n_; ++s) {
      cost += there[s] * c_.check;
    }
    for (std::size_t r = 0; r < w.track.seen->size(); ++r) {
      cost += store_.cost_before(sets[w.step + wait][r], there, (*w.track.seen)[r].chance);
    }
    return cost;
  }

  void try_waits(const Where& w, const Point& p, std::size_t most, const Sets& sets, Choice& best,
                 std::size_t least = 1) {
    double broken = 0;
    std::size_t counted = 0;
    const auto count_to = [&](std::size_t wait) {
      for (; counted < wait; ++counted) {
        broken += p.breaks[counted] * after_breakdown(w.remaining - counted - 1);
      }
    };
    const auto offer = [&](std::size_t wait, double cost) {
      if (cost < best.cost) {
        best = {Node::Does::wait, Work::rebuild, wait, cost};
      }
    };
    for (const std::size_t wait : w.track.waits) {
      if (wait >= least && wait <= most && wait < w.remaining) {
        count_to(wait);
        offer(wait, broken + looked_at(w, wait, p, sets));
      }
    }
    if (w.remaining <= most) {
      count_to(w.remaining);
      offer(w.remaining, broken + dot(p.arrive[w.remaining], end_.data(), n_));
    }
  }

  // Whether nothing can leak after it.
  static bool closes(const Where& w, Work work) {
    return work == Work::rebuild_bypass ||
           (w.track.kind == Track::Kind::closed && work != Work::new_unit);
  }
  [[nodiscard]] double follows(const Where& w, Work work) const {
    return closes(w, work) ? 0 : renewed_cost_[w.remaining];
  }

  double worked(const Where& w, Work work, const Seen& seen, const Row& belief) {
    double cost = 0;
    for (std::size_t s = 0; s < n_; ++s) {
      cost += belief[s] * cost_of_work(p_, c_, work, seen, s);
    }
    return cost + (work == Work::bypass ? store_.cost(closed_[p_.steps - w.remaining].front(),
                                                      after_bypass(p_, belief))
                                        : follows(w, work));
  }

  std::uint32_t keep(const Where& w, const Choice& choice, const Sets& sets, const Row& belief);
  void store_at(const Where& w, const Point& p, const Choice& choice, const Sets& sets, Set& into);

  const Grid& g_;
  const Problem& p_;
  const Costs& c_;
  std::size_t n_;
  Store store_;
  Row end_{};
  Sets own_;
  Sets closed_;
  std::vector<double> renewed_cost_;
  std::vector<std::uint32_t> renewed_node_;
};

// The choice as a policy that can be followed from any stage.
template <>
std::uint32_t Sweep<Policies>::keep(const Where& w, const Choice& choice, const Sets& sets,
                                    const Row& belief) {
  Solution& out = *store_.out;
  Node node;
  node.does = choice.does;
  node.work = choice.work;
  node.result = w.result;
  node.track = w.track.kind;
  node.step = static_cast<std::uint32_t>(w.step);
  node.remaining = static_cast<std::uint32_t>(w.remaining);
  node.wait = static_cast<std::uint32_t>(choice.wait);
  Row total{};
  if (choice.does == Node::Does::work) {
    const Seen& seen = w.result == kNow ? p_.now : (*w.track.seen)[w.result];
    const bool bypass = choice.work == Work::bypass;
    node.next = bypass ? store_.best(closed_[p_.steps - w.remaining].front(),
                                     after_bypass(p_, belief), false)
                       : (closes(w, choice.work) ? kNothing : renewed_node_[w.remaining]);
    for (std::size_t s = 0; s < n_; ++s) {
      Row certain{};
      certain[s] = 1;
      total[s] = cost_of_work(p_, c_, choice.work, seen, s) +
                 (bypass ? dot(after_bypass(p_, certain), store_.total(node.next), n_)
                         : follows(w, choice.work));
    }
  } else {
    const bool to_the_end = choice.wait == w.remaining;
    Row there{};  // cost from the check, or the end, on
    if (to_the_end) {
      there = end_;
    } else {
      Row before{};
      const std::vector<Row>& span = w.track.span[w.step][choice.wait];
      for (std::size_t from = 0; from < n_; ++from) {
        for (std::size_t s = from; s < n_; ++s) {
          before[s] += belief[from] * span[from][s];
        }
      }
      there.fill(c_.check);
      for (std::size_t r = 0; r < w.track.seen->size(); ++r) {
        const Row& chance = (*w.track.seen)[r].chance;
        node.after.at(r) = store_.best(sets[w.step + choice.wait][r], before, true);
        const double* after = store_.total(node.after.at(r));
        for (std::size_t s = 0; s < n_; ++s) {
          there[s] += chance[s] * after[s];
        }
      }
    }
    const std::vector<Row>& span = w.track.span[w.step][choice.wait];
    for (std::size_t s = 0; s < n_; ++s) {
      for (std::size_t j = 0; j < choice.wait; ++j) {
        total[s] += w.track.broke[w.step][j][s] * after_breakdown(w.remaining - j - 1);
      }
      total[s] += dot(span[s], there.data(), n_);
    }
  }
  out.nodes.push_back(node);
  out.total.insert(out.total.end(), total.begin(), total.begin() + static_cast<std::ptrdiff_t>(n_));
  return static_cast<std::uint32_t>(out.nodes.size() - 1);
}

template <>
void Sweep<Policies>::store_at(const Where& w, const Point& p, const Choice& choice,
                               const Sets& sets, Set& into) {
  const std::uint32_t id = keep(w, choice, sets, p.belief);
  const double* mine = store_.total(id);
  const bool known = std::ranges::any_of(into.ids, [&](std::uint32_t other) {
    return std::equal(mine, mine + n_, store_.total(other));
  });
  if (known) {
    store_.out->nodes.pop_back();
    store_.out->total.resize(store_.out->total.size() - n_);
  } else {
    into.ids.push_back(id);
  }
}

template <>
std::uint32_t Sweep<Bounds>::keep(const Where& /*w*/, const Choice& /*choice*/,
                                  const Sets& /*sets*/, const Row& /*belief*/) {
  return kNothing;
}

template <>
void Sweep<Bounds>::store_at(const Where& /*w*/, const Point& p, const Choice& choice,
                             const Sets& /*sets*/, Set& into) {
  for (std::size_t s = 0; s < n_; ++s) {
    if (p.belief[s] == 1) {
      into.corner[s] = choice.cost;
      return;
    }
  }
  into.above.emplace_back(p.belief, choice.cost);
}

}  // namespace

Row after_bypass(const Problem& p, const Row& belief) {
  Row after{};
  for (std::size_t s = 0; s < p.stages(); ++s) {
    after[p.is_damaged(s) ? s : 0] += belief[s];
  }
  return after;
}

double cost_of_work(const Problem& p, const Costs& c, Work work, const Seen& seen,
                    std::size_t stage) {
  const bool damaged = p.is_damaged(stage);
  const double lost = damaged ? seen.lost : 0;
  const double opened = c.rebuild + lost * c.beyond_repair;
  switch (work) {
    case Work::bypass:
      return c.bypass;
    case Work::rebuild:
      return opened + (damaged ? (1 - lost) * seen.major * c.major_parts : 0);
    case Work::rebuild_bypass:
      return opened + c.bypass_in_rebuild + (damaged ? (1 - lost) * seen.major * c.major_parts : 0);
    case Work::major_parts:
      return opened + (1 - lost) * c.major_parts;
    case Work::new_unit:
      return c.new_unit - (damaged ? 0 : c.core);
  }
  return 0;
}

double cost_at_end(const Problem& p, const Costs& c, std::size_t stage) {
  if (!c.charge_at_end || stage == 0) {
    return 0;
  }
  return cost_of_work(
      p, c, Work::rebuild,
      {.chance = {}, .most_steps = 0, .allowed = {}, .major = c.end_major, .lost = c.end_lost},
      stage);
}

Solution solve(const Grid& grid, const Costs& costs) {
  Solution out;
  Sweep<Policies> sweep(grid, costs, Policies{grid.problem.stages(), &out});
  sweep.run();
  out.first = sweep.firsts();
  out.renewed = sweep.renewed_node();
  out.renewed_cost = sweep.renewed_cost();
  return out;
}

std::vector<double> bound_from_below(const Grid& grid, const Costs& costs, const Solution& upper) {
  Sweep<Bounds> sweep(grid, costs, Bounds{grid.problem.stages()});
  sweep.run();
  std::vector<double> bounds;
  for (const First& first : upper.first) {
    bounds.push_back(sweep.cost_of(first));
  }
  return bounds;
}

}  // namespace dryshaft::plan
