// `dryshaft-outcomes/1`: one object, one line.

#include "base/json_out.hpp"
#include "dryshaft/outcomes.hpp"
#include "report/ordered_json.hpp"

namespace dryshaft {
namespace {

using Out = words::Ordered;

constexpr int kDigits = 6;

Out rounded(double value) { return words::number_or_null(value, kDigits); }
Out of_interval(const std::optional<Interval>& i) {
  return i ? Out{rounded(i->low), rounded(i->high)} : Out(nullptr);
}
Out of_gain(const Gain& g) {
  return {{"mean", rounded(g.mean)}, {"interval", of_interval(g.interval)}};
}

Out of_rules(const Outcomes& o) {
  Out json = {{"id", o.rules_id},
              {"version", o.rules_version},
              {"sha256", o.rules_sha256},
              {"families_sha256", o.families_sha256}};
  if (o.rules_overlay) {
    json["overlay"] = {{"sha256", o.rules_overlay->sha256},
                       {"teardowns", o.rules_overlay->teardowns}};
  }
  return json;
}

Out of_score(const Score& s) {
  Out json;
  json["id"] = s.id;
  json["title"] = s.title;
  json["teardowns"] = s.count;
  json["found"] = s.happened;
  json["mean_said"] = rounded(s.mean_said);
  json["brier"] = {{"score", rounded(s.brier.brier)},
                   {"reliability", rounded(s.brier.reliability)},
                   {"resolution", rounded(s.brier.resolution)},
                   {"uncertainty", rounded(s.brier.uncertainty)},
                   {"within_variance", rounded(s.brier.within_variance)},
                   {"within_covariance", rounded(s.brier.within_covariance)}};
  json["log_bits"] = rounded(s.log_bits);
  json["by_rate"] = {{"brier", rounded(s.constant_brier)},
                     {"log_bits", rounded(s.constant_log_bits)},
                     {"brier_gain", of_gain(s.brier_gain)},
                     {"log_gain", of_gain(s.log_gain)},
                     {"judged", name(s.judged)}};
  json["reliability"] = Out::array();
  for (const ReliabilityBin& b : s.table) {
    json["reliability"].push_back({{"from", b.from},
                                   {"to", b.to},
                                   {"teardowns", b.count},
                                   {"found", b.happened},
                                   {"mean_said", rounded(b.mean)},
                                   {"interval", of_interval(b.found)}});
  }
  return json;
}

Out of_cost(const RuleCost& c) {
  return {{"id", c.id},
          {"finding", name(c.finding)},
          {"cause", name(c.cause)},
          {"teardowns", c.count},
          {"misled", c.misled},
          {"cost_bits", rounded(c.cost_bits)},
          {"net_bits", rounded(c.net_bits)}};
}

Out of_rule(const FittedRule& r) {
  Out json;
  json["id"] = r.id;
  json["kind"] = r.background ? "background" : "link";
  json["finding"] = name(r.finding);
  json["cause"] = r.background ? Out(nullptr) : Out(name(r.cause));
  json["teardowns"] = r.teardowns;
  json["memory_band"] = rounded(r.band);
  const std::span<const Choice> levels = spec(r.finding).levels;
  for (const auto& [key, values] :
       {std::pair{"before", &r.shipped}, std::pair{"refitted", &r.fitted}}) {
    for (std::size_t l = 1; l < levels.size(); ++l) {
      json[key][std::string(levels[l].id)] = (*values)[l];
    }
  }
  return json;
}

Out of_fit(const Outcomes& o) {
  Out json;
  json["status"] = name(o.fit.status);
  json["steps"] = o.fit.climb.empty() ? 0 : o.fit.climb.size() - 1;
  json["log_likelihood_gain_nats"] =
      o.fit.climb.empty() ? Out(nullptr) : rounded(o.fit.climb.back() - o.fit.climb.front());
  json["prior_weight"] = o.prior_weight ? Out(*o.prior_weight) : Out(nullptr);
  json["memory_band"] = rounded(o.memory_band);
  json["share"] = rounded(o.fit.share);
  json["held_back"] = o.fit.held_back;
  json["rules"] = Out::array();
  for (const FittedRule& r : o.fit.rules) {
    json["rules"].push_back(of_rule(r));
  }
  return json;
}

Out of_cross(const CrossValidation& c) {
  return {{"folds", c.folds},
          {"one_by_one", c.one_by_one},
          {"brier",
           {{"before", rounded(c.shipped_brier)},
            {"refitted", rounded(c.fitted_brier)},
            {"gain", of_gain(c.brier_gain)}}},
          {"log_bits",
           {{"before", rounded(c.shipped_log_bits)},
            {"refitted", rounded(c.fitted_log_bits)},
            {"gain", of_gain(c.log_gain)}}},
          {"judged", name(c.judged)}};
}

}  // namespace

std::string outcomes_to_json(const Outcomes& outcomes) {
  Out json;
  json["format"] = kOutcomesFormat;
  json["tool"] = {{"name", kToolName}, {"version", DRYSHAFT_VERSION}};
  json["rules"] = of_rules(outcomes);
  json["records"] = outcomes.records;
  json["teardowns"] = outcomes.openings;
  json["units"] = outcomes.units;
  json["first_date"] = words::text_or_null(outcomes.first_date);
  json["last_date"] = words::text_or_null(outcomes.last_date);
  json["not_seen_before"] = outcomes.not_seen_before;
  json["nothing_examined"] = outcomes.nothing_examined;
  json["confidence"] = kConfidence;
  json["scores"] = Out::array();
  for (const Score& s : outcomes.scores) {
    json["scores"].push_back(of_score(s));
  }
  json["rule_costs"] = Out::array();
  for (const RuleCost& c : outcomes.costs) {
    json["rule_costs"].push_back(of_cost(c));
  }
  json["fit"] = of_fit(outcomes);
  json["cross_validation"] = outcomes.cross ? of_cross(*outcomes.cross) : Out(nullptr);
  json["overlay_file"] = words::text_or_null(outcomes.overlay_file);
  json["limits"] = outcomes.limits;
  // All but plain ASCII is escaped, so that a hostile name is harmless on a terminal.
  return json_out::of(json) + "\n";
}

}  // namespace dryshaft
