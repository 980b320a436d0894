#include "decide/orders.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <string>
#include <utility>

#include "base/index.hpp"
#include "record/look.hpp"

namespace dryshaft {
namespace {

// Rules that tie stand in the order of their words: neither their place nor what they are called
// changes a report.
auto by_words(const Offer& o) {
  const std::string_view own = o.advice->reason;
  return std::tuple(o.order(), o.companion ? std::string_view(o.action->reason) : own, own,
                    std::string_view(o.advice->id));
}

bool closes(const ActionRule& action, std::uint32_t done) {
  return std::ranges::any_of(action.closed_by.work, [&](const std::vector<Did>& all) {
    return std::ranges::all_of(all, [&](Did did) { return (done & bits_of(did)) != 0; });
  });
}

void keep_earlier(auto& kept, const auto& other) {
  if (other && (!kept || *other < *kept)) {
    kept = other;
  }
}

}  // namespace

std::vector<const Advice*> advice_that_holds(const Knowledge& knowledge, const Facts& facts,
                                             std::span<const std::string_view> contradictions) {
  std::vector<const Advice*> all;
  for (const Advice& a : knowledge.advice) {
    if (holds(a.when, facts)) {
      all.push_back(&a);
    }
  }
  std::vector<std::string_view> replaced;
  for (const Advice* a : all) {
    std::ranges::copy(a->instead_of, std::back_inserter(replaced));
  }
  std::erase_if(all, [&](const Advice* a) {
    return std::ranges::find(replaced, a->action) != replaced.end();
  });
  for (const std::string_view id : contradictions) {
    const ContradictionRule* rule = knowledge.contradiction(id);
    if (rule != nullptr && rule->ask && holds(rule->ask->when, facts)) {
      all.push_back(&*rule->ask);
    }
  }
  return all;
}

Orders::Orders(const Knowledge& knowledge, const std::vector<Record>& records)
    : k_(knowledge), records_(records), works_(works_of(records)) {}

// What was seen last of what the advice goes by was seen before work that closes the action.
bool Orders::closed_since(const Offer& offer, const Presentation& seen, std::size_t record) const {
  const std::uint64_t asked = asks(offer.advice->when);
  std::size_t last = 0;
  bool any = false;
  for (const FindingSpec& f : findings()) {
    if ((asked & AskBits::bit(f.id)) != 0 && seen.facts.at(f.id) > 0) {
      last = std::max(last, seen.observed[idx(f.id)].record.value_or(record));
      any = true;
    }
  }
  std::uint32_t done = 0;
  for (const UnitEvent& e : works_) {
    if (any && e.looks_before > last && e.looks_before <= record) {
      done |= bits_of(e.work->did);
    }
  }
  return closes(*offer.action, done);
}

std::vector<Offer> Orders::offers(const Presentation& seen, const Facts& facts,
                                  std::size_t record) const {
  std::vector<Offer> chosen;
  // The most urgent advice for each action counts.
  const auto offer = [&](const Offer& o) {
    const auto at = std::ranges::find(chosen, o.action, &Offer::action);
    if (closed_since(o, seen, record)) {
      return;
    }
    if (at == chosen.end()) {
      chosen.push_back(o);
    } else if (by_words(o) < by_words(*at)) {
      *at = o;
    }
  };
  for (const Advice* advice : advice_that_holds(k_, facts, seen.contradictions)) {
    // A unit that must not be driven is given no distance, whatever the rule data say.
    const bool stands = facts.grade == Grade::D && advice->within_km > 0.0;
    Offer o{.advice = advice,
            .companion = true,
            .urgency = advice->urgency,
            .within_km = stands ? std::nullopt : advice->within_km,
            .within_days = advice->within_days};
    for (const std::string& id : advice->with) {
      o.action = k_.action(id);
      offer(o);
    }
    o.action = k_.action(advice->action);
    o.companion = false;
    offer(o);
  }
  return chosen;
}

void Orders::works_until(std::size_t looks) {
  for (; next_work_ < works_.size() && works_[next_work_].looks_before <= looks; ++next_work_) {
    const Did did = works_[next_work_].work->did;
    if (did == Did::unit_replaced) {
      pending_.clear();
    }
    for (Pending& p : pending_) {
      p.done |= bits_of(did);
    }
  }
  std::erase_if(pending_, [&](const Pending& p) { return closes(*p.order.offer.action, p.done); });
}

void Orders::look(std::size_t record, const Presentation& seen, const Facts& facts) {
  works_until(record);
  std::vector<Offer> now = offers(seen, facts, record);
  // A look after which the same is asked for again has closed nothing, but for a recheck.
  std::erase_if(pending_, [&](const Pending& p) {
    const bool again = std::ranges::find(now, p.order.offer.advice, &Offer::advice) != now.end();
    const bool recheck = p.order.offer.action->role == ActionRole::look_again;
    return (recheck || !again) &&
           std::ranges::any_of(p.order.offer.action->closed_by.look, [&](Finding f) {
             return records_[record].has(spec(f).from.front());
           });
  });
  ask(record, seen, std::move(now));
}

void Orders::ask(std::size_t record, const Presentation& seen, std::vector<Offer> offers) {
  for (Pending& p : pending_) {
    p.offered = false;
  }
  const int day = day_of(records_[record]);
  for (Offer& o : offers) {
    auto p = std::ranges::find(pending_, o.action,
                               [](const Pending& q) { return q.order.offer.action; });
    if (p == pending_.end()) {
      pending_.push_back({.order = {.offer = o, .asked = record}});
      p = std::prev(pending_.end());
    }
    p->offered = true;
    p->order.offer = o;
    if (o.is_recheck()) {
      continue;
    }
    if (o.within_days) {
      keep_earlier(p->order.due_day,
                   std::optional(day + static_cast<int>(std::floor(*o.within_days))));
    }
    if (o.within_km && seen.odometer_km) {
      keep_earlier(p->order.due_km, std::optional(*seen.odometer_km + *o.within_km));
    }
  }
  // What nothing asks for any more is over, but for what was begun, be it on this day.
  std::uint32_t today = 0;
  for (std::size_t i = next_work_; i < works_.size() && works_[i].looks_before == record + 1; ++i) {
    today |= works_[i].day == day ? bits_of(works_[i].work->did) : 0U;
  }
  std::erase_if(pending_, [&](const Pending& p) {
    const auto begun = [&](const std::vector<Did>& all) {
      return std::ranges::any_of(all,
                                 [&](Did did) { return ((p.done | today) & bits_of(did)) != 0; });
    };
    return !p.offered && std::ranges::none_of(p.order.offer.action->closed_by.work, begun);
  });
}

std::vector<Order> Orders::open(const Presentation& seen, const Facts& facts) {
  look(records_.size() - 1, seen, facts);
  works_until(records_.size());
  std::vector<Order> out;
  for (Pending& p : pending_) {
    for (const std::vector<Did>& all : p.order.offer.action->closed_by.work) {
      std::ranges::copy_if(all, std::back_inserter(p.order.done), [&](Did did) {
        return (p.done & bits_of(did)) != 0 &&
               std::ranges::find(p.order.done, did) == p.order.done.end();
      });
    }
    out.push_back(std::move(p.order));
  }
  return out;
}

}  // namespace dryshaft
