// A policy followed: what its cost is made of, and lives drawn by it.
#include <algorithm>
#include <cmath>
#include <map>

#include "base/index.hpp"
#include "plan/decision.hpp"

namespace dryshaft::plan {
namespace {

void add(Account& to, const Account& more, double share) {
  for (std::size_t i = 0; i < kSpentCount; ++i) {
    to.spent[i] += share * more.spent[i];
  }
}

// The parts of `cost_of_work`.
Account parts_of(const Problem& p, const Costs& c, Work work, const Seen& seen, std::size_t stage) {
  Account a;
  const double lost = p.is_damaged(stage) ? seen.lost : 0;
  const double major = p.is_damaged(stage) ? seen.major : 0;
  if (work == Work::bypass) {
    a.spent[idx(Spent::bypass)] = c.bypass;
    return a;
  }
  if (work == Work::new_unit) {
    a.spent[idx(Spent::replacement)] = cost_of_work(p, c, work, seen, stage);
    return a;
  }
  a.spent[idx(Spent::rebuild)] = c.rebuild;
  a.spent[idx(Spent::replacement)] = lost * c.beyond_repair;
  a.spent[idx(Spent::major_parts)] =
      (1 - lost) * (work == Work::major_parts ? 1 : major) * c.major_parts;
  a.spent[idx(Spent::bypass)] = work == Work::rebuild_bypass ? c.bypass_in_rebuild : 0;
  a.lost = lost;
  return a;
}

const Track& track_of(const Grid& g, const Node& node) {
  switch (node.track) {
    case Track::Kind::renewed:
      return *g.renewed;
    case Track::Kind::closed:
      return *g.closed;
    case Track::Kind::own:
      break;
  }
  return g.own;
}

const Seen& known_at(const Grid& g, const Node& node) {
  return node.result == kNow ? g.problem.now : (*track_of(g, node).seen)[node.result];
}

class Accounts {
 public:
  Accounts(const Grid& grid, const Costs& costs, const Solution& solution)
      : g_(grid), p_(grid.problem), c_(costs), s_(solution), n_(p_.stages()) {}

  // By stage.
  const std::vector<Account>& at(std::uint32_t id) {
    if (const auto found = known_.find(id); found != known_.end()) {
      return found->second;
    }
    std::vector<Account> all(n_);
    if (id != kNothing) {
      const Node& node = s_.nodes[id];
      if (node.does == Node::Does::work) {
        work(node, all);
      } else {
        wait(node, all);
      }
    }
    return known_.emplace(id, std::move(all)).first->second;
  }

 private:
  void work(const Node& node, std::vector<Account>& all) {
    const std::vector<Account>& after = at(node.next);
    for (std::size_t s = 0; s < n_; ++s) {
      all[s] = parts_of(p_, c_, node.work, known_at(g_, node), s);
      Row then{};
      then[s] = 1;
      if (node.work == Work::bypass) {
        then = after_bypass(p_, then);
      } else {
        then[s] = 0;
        then[0] = 1;
      }
      const double kept = node.work == Work::new_unit ? 0 : 1 - all[s].lost;
      for (std::size_t to = 0; to < n_; ++to) {
        add(all[s], after[to], then[to]);
        all[s].lost += kept * then[to] * after[to].lost;
      }
    }
  }

  void wait(const Node& node, std::vector<Account>& all) {
    const Track& t = track_of(g_, node);
    const bool to_the_end = node.wait == node.remaining;
    std::vector<Account> there(n_);
    for (std::size_t s = 0; s < n_; ++s) {
      if (to_the_end) {
        there[s].spent[idx(Spent::at_end)] = cost_at_end(p_, c_, s);
        continue;
      }
      there[s].spent[idx(Spent::check)] = c_.check;
      for (std::size_t r = 0; r < t.seen->size(); ++r) {
        const double chance = (*t.seen)[r].chance[s];
        const Account& after = at(node.after.at(r))[s];
        add(there[s], after, chance);
        there[s].lost += chance * after.lost;
      }
    }
    for (std::size_t j = 0; j < node.wait; ++j) {
      const Account& next = at(s_.renewed[node.remaining - j - 1])[0];
      for (std::size_t s = 0; s < n_; ++s) {
        const double breaks = t.broke[node.step][j][s];
        all[s].spent[idx(Spent::breakdown)] += breaks * c_.breakdown;
        all[s].lost += breaks;
        add(all[s], next, breaks);
      }
    }
    const std::vector<Row>& span = t.span[node.step][node.wait];
    for (std::size_t from = 0; from < n_; ++from) {
      for (std::size_t s = from; s < n_; ++s) {
        add(all[from], there[s], span[from][s]);
        all[from].lost += span[from][s] * there[s].lost;
      }
    }
  }

  const Grid& g_;
  const Problem& p_;
  const Costs& c_;
  const Solution& s_;
  std::size_t n_;
  std::map<std::uint32_t, std::vector<Account>> known_;
};

template <std::size_t Most>
std::size_t drawn(const std::array<double, Most>& chances, std::size_t n, double draw) {
  for (std::size_t s = 0; s + 1 < n; ++s) {
    if (draw < chances[s]) {
      return s;
    }
    draw -= chances[s];
  }
  return n - 1;
}

}  // namespace

Account account(const Grid& grid, const Costs& costs, const Solution& solution,
                const First& first) {
  Accounts accounts(grid, costs, solution);
  const std::vector<Account>& by_stage = accounts.at(first.node);
  Account all;
  for (std::size_t s = 0; s < grid.problem.stages(); ++s) {
    const double share = grid.problem.start[s];
    add(all, by_stage[s], share);
    all.lost += share * by_stage[s].lost;
  }
  return all;
}

double live(const Grid& grid, const Costs& costs, const Solution& solution, const First& first,
            draw::Run& draws) {
  const Problem& p = grid.problem;
  const std::size_t n = p.stages();
  std::size_t stage = drawn(p.start, n, draws.next());
  std::uint32_t id = first.node;
  double cost = 0;
  while (id != kNothing) {
    const Node& node = solution.nodes[id];
    const Track& t = track_of(grid, node);
    if (node.does == Node::Does::work) {
      const Seen& seen = known_at(grid, node);
      // Undamaged, with major parts, or beyond repair: whichever it turns out to be.
      Seen found;
      if (p.is_damaged(stage)) {
        found.lost = draws.next() < seen.lost ? 1 : 0;
        found.major = draws.next() < seen.major ? 1 : 0;
      }
      cost += cost_of_work(p, costs, node.work, found, stage);
      if (node.work != Work::bypass || !p.is_damaged(stage)) {
        stage = 0;
      }
      id = node.next;
      continue;
    }
    bool broke = false;
    for (std::size_t j = 0; j < node.wait && !broke; ++j) {
      const Motion& m = t.motion[node.step + j];
      const double draw = draws.next();
      if (draw < m.breaks[stage]) {
        broke = true;
        cost += costs.breakdown;
        stage = 0;
        id = solution.renewed[node.remaining - j - 1];
      } else {
        stage = drawn(m.to[stage], n, draw - m.breaks[stage]);
      }
    }
    if (broke) {
      continue;
    }
    if (node.wait == node.remaining) {
      return cost + cost_at_end(p, costs, stage);
    }
    cost += costs.check;
    std::array<double, kMostResults> chances{};
    for (std::size_t r = 0; r < t.seen->size(); ++r) {
      chances[r] = (*t.seen)[r].chance[stage];
    }
    id = node.after.at(drawn(chances, t.seen->size(), draws.next()));
  }
  return cost;
}

}  // namespace dryshaft::plan
