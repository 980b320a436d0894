// `dryshaft-onset/1`: one object, one line. Numbers are written so that they
// read back as they were; what is infinite or not known is null.

#include "base/json_out.hpp"
#include "dryshaft/onset.hpp"
#include "report/ordered_json.hpp"

namespace dryshaft {
namespace {

using words::exact_or_null;
using words::text_or_null;
using OnsetJson = words::Ordered;

OnsetJson range(const Interval95& i) { return {exact_or_null(i.low), exact_or_null(i.high)}; }

OnsetJson of_curve(const OnsetReport& r, std::size_t i) {
  const CurveFit& fit = r.curves.at(i);
  const bool found = fit.status == FitStatus::converged;
  const auto value = [&](double x) { return found ? exact_or_null(x) : OnsetJson(nullptr); };
  OnsetJson json;
  json["status"] = name(fit.status);
  json["status_text"] = explain(fit.status);
  json["shape"] = value(fit.shape);
  json["scale"] = value(fit.scale);
  json["log_likelihood"] = value(fit.log_likelihood);
  json["se_shape"] = value(fit.se_shape);
  json["se_scale"] = value(fit.se_scale);
  json["mu"] = value(fit.mu);
  json["log_sigma"] = value(std::log(fit.sigma));
  json["covariance"] = {{"mu", value(fit.var_mu)},
                        {"mu_log_sigma", value(fit.cov_mu_log_sigma)},
                        {"log_sigma", value(fit.var_log_sigma)}};
  json["iterations"] = fit.iterations;
  const std::optional<CurveIntervals>& ends = r.intervals.at(i);
  json["shape_95"] = ends ? range(ends->shape) : OnsetJson(nullptr);
  json["scale_95"] = ends ? range(ends->scale) : OnsetJson(nullptr);
  json["probability"] = OnsetJson::array();
  json["quantile"] = OnsetJson::array();
  for (std::size_t d = 0; ends && d < r.options.distances.size(); ++d) {
    json["probability"].push_back(
        {{"at", r.options.distances[d]},
         {"probability",
          exact_or_null(curve_probability(fit.kind, fit.shape, fit.scale, r.options.distances[d]))},
         {"probability_95", range(ends->probability[d])}});
  }
  for (std::size_t q = 0; ends && q < r.probabilities.size(); ++q) {
    json["quantile"].push_back(
        {{"probability", r.probabilities[q]},
         {"at", exact_or_null(curve_quantile(fit.kind, fit.shape, fit.scale, r.probabilities[q]))},
         {"at_95", range(ends->quantile[q])}});
  }
  const std::optional<OnsetReport::Gap>& gap = r.fit.at(i);
  json["against_steps"] = gap ? OnsetJson{{"largest", exact_or_null(gap->largest)},
                                          {"at", exact_or_null(gap->at)},
                                          {"inside", r.steps.resamples > 0 ? OnsetJson(gap->inside)
                                                                           : OnsetJson(nullptr)}}
                              : OnsetJson(nullptr);
  return json;
}

OnsetJson of_steps(const StepEstimate& s) {
  OnsetJson json;
  json["converged"] = s.converged;
  json["log_likelihood"] = exact_or_null(s.log_likelihood);
  json["fenchel_gap"] = exact_or_null(s.gap);
  json["iterations"] = s.iterations;
  json["resamples"] = s.resamples;
  json["steps"] = OnsetJson::array();
  for (const StepEstimate::Step& step : s.steps) {
    json["steps"].push_back(
        {{"left", exact_or_null(step.left)},
         {"right", exact_or_null(step.right)},
         {"probability", exact_or_null(step.probability)},
         {"below", exact_or_null(step.below)},
         {"below_95", s.resamples > 0 ? range(step.below_95) : OnsetJson(nullptr)}});
  }
  return json;
}

OnsetJson of_regression(const OnsetRegression& g) {
  const bool found = g.status == FitStatus::converged;
  const auto value = [&](double x) { return found ? exact_or_null(x) : OnsetJson(nullptr); };
  OnsetJson json;
  json["curve"] = name(g.kind);
  json["status"] = name(g.status);
  json["status_text"] = explain(g.status);
  json["unbounded"] = text_or_null(g.unbounded);
  json["numeric"] = g.numeric;
  json["shape"] = value(g.shape);
  json["mu"] = value(g.mu);
  json["se_mu"] = value(g.se_mu);
  json["log_sigma"] = value(g.log_sigma);
  json["se_log_sigma"] = value(g.se_log_sigma);
  json["log_likelihood"] = value(g.log_likelihood);
  json["log_likelihood_without"] = value(g.log_likelihood_without);
  json["ratio"] = value(g.ratio);
  json["degrees"] = found ? OnsetJson(g.degrees) : OnsetJson(nullptr);
  json["p_value"] = value(g.p_value);
  json["count_without_group"] = exact_or_null(g.count_without_group);
  json["groups"] = OnsetJson::array();
  for (const OnsetRegression::Group& group : g.groups) {
    json["groups"].push_back({{"name", group.name},
                              {"count", exact_or_null(group.count)},
                              {"scale", value(group.scale)},
                              {"factor", value(group.factor)},
                              {"log_factor", value(group.log_factor)},
                              {"se_log_factor", value(group.se_log_factor)}});
  }
  return json;
}

OnsetJson of_summary(const WeibullCloud::Summary& s) {
  return {{"mean", exact_or_null(s.mean)},
          {"median", exact_or_null(s.median)},
          {"range_95", range(s.range)}};
}

OnsetJson of_cloud(const OnsetReport& r, const WeibullCloud& cloud) {
  OnsetJson json;
  json["shape"] = of_summary(cloud.shape());
  json["scale"] = of_summary(cloud.scale());
  json["probability"] = OnsetJson::array();
  for (const double at : r.options.distances) {
    OnsetJson one = of_summary(cloud.probability_at(at));
    one["at"] = at;
    json["probability"].push_back(std::move(one));
  }
  json["quantile"] = OnsetJson::array();
  for (const double p : r.probabilities) {
    OnsetJson one = of_summary(cloud.quantile(p));
    one["probability"] = p;
    json["quantile"].push_back(std::move(one));
  }
  return json;
}

}  // namespace

std::string onset_to_json(const OnsetSheet& sheet) {
  const OnsetReport& r = sheet.report;
  const OnsetOptions& o = r.options;
  OnsetJson json;
  json["format"] = kOnsetFormat;
  json["tool"] = {{"name", kToolName}, {"version", DRYSHAFT_VERSION}};
  json["rules"] = {{"id", sheet.rules_id},
                   {"version", sheet.rules_version},
                   {"sha256", sheet.rules_sha256},
                   {"families_sha256", sheet.families_sha256}};
  json["sources"] = sheet.sources;
  json["axis"] = name(r.data.axis);
  json["units"] = r.data.units;
  json["intervals"] = {{"left_censored", exact_or_null(r.left_censored)},
                       {"between", exact_or_null(r.between)},
                       {"exact", exact_or_null(r.exact)},
                       {"right_censored", exact_or_null(r.right_censored)}};
  json["curves"] = OnsetJson::object();
  for (std::size_t i = 0; i < kCurveCount; ++i) {
    json["curves"][std::string(name(r.curves.at(i).kind))] = of_curve(r, i);
  }
  json["best"] = r.best ? OnsetJson(name(*r.best)) : OnsetJson(nullptr);
  json["steps"] = of_steps(r.steps);
  json["by"] = text_or_null(r.data.by);
  json["regressions"] = OnsetJson::array();
  for (const OnsetRegression& g : r.regressions) {
    json["regressions"].push_back(of_regression(g));
  }
  json["prior"] = nullptr;
  json["posterior"] = nullptr;
  if (r.joined && o.prior) {
    json["prior"] = of_cloud(r, r.joined->prior);
    json["prior"]["given"] = {{"shape", o.prior->shape},
                              {"scale", o.prior->scale},
                              {"sd_log_shape", o.prior->sd_log_shape},
                              {"sd_log_scale", o.prior->sd_log_scale},
                              {"source", sheet.prior_source}};
    json["posterior"] = of_cloud(r, r.joined->posterior);
    json["posterior"]["log_evidence"] = exact_or_null(r.joined->log_evidence);
    json["posterior"]["checked"] = r.joined->checked;
    json["posterior"]["edge"] = exact_or_null(r.joined->edge);
    json["posterior"]["change"] = exact_or_null(r.joined->change);
  }
  json["rechecks"] = OnsetJson::array();
  for (const OnsetRecheck& c : r.rechecks) {
    json["rechecks"].push_back({{"at", exact_or_null(c.at)},
                                {"leak_by", exact_or_null(c.leak_by)},
                                {"first", exact_or_null(c.first)},
                                {"regular", exact_or_null(c.regular)}});
  }
  json["recheck_rests_on"] = nullptr;
  json["plan"] = nullptr;
  if (r.plan) {
    json["recheck_rests_on"] = {{"rules_sha256", sheet.rules_sha256},
                                {"damage_target", exact_or_null(o.rules->settings.damage_target)},
                                {"least_km", exact_or_null(o.rules->settings.recheck_least_km)},
                                {"km_per_year", exact_or_null(o.rules->settings.km_per_year)}};
    json["plan"] = {{"looks", r.plan->looks},
                    {"until", exact_or_null(r.plan->until)},
                    {"checks_per_100", exact_or_null(r.plan->checks)},
                    {"found_per_100", exact_or_null(r.plan->found)},
                    {"damaged_per_100", exact_or_null(r.plan->damaged)},
                    {"damaged_without_checks_per_100", exact_or_null(r.plan->without)}};
  }
  json["grader"] = nullptr;
  if (!r.grader.empty()) {
    json["grader"] = {{"axis", name(r.data.axis)}, {"hazard", OnsetJson::array()}};
    for (const auto& [at, hazard] : r.grader) {
      json["grader"]["hazard"].push_back({exact_or_null(at), exact_or_null(hazard)});
    }
  }
  json["used"] = OnsetJson::array();
  for (const OnsetInterval& i : r.data.intervals) {
    if (i.unit.empty()) {
      continue;  // rows of a table stand in the table
    }
    json["used"].push_back({{"unit", i.unit},
                            {"seal", i.seal},
                            {"left", exact_or_null(i.left)},
                            {"right", exact_or_null(i.right)},
                            {"group", text_or_null(i.group)},
                            {"worse_reading", i.worse_reading},
                            {"assumed", i.assumed},
                            {"source", i.source},
                            {"line", i.line}});
  }
  json["left_out"] = OnsetJson::array();
  for (const OnsetLeftOut& l : r.data.left_out) {
    json["left_out"].push_back({{"what", l.what},
                                {"id", l.id},
                                {"reason", l.reason},
                                {"unit", l.unit},
                                {"source", l.source},
                                {"line", l.line}});
  }
  json["limits"] = r.limits;
  json["cautions"] = OnsetJson::array();
  for (const auto& [id, text] : sheet.cautions) {
    json["cautions"].push_back({{"id", id}, {"text", text}});
  }
  return json_out::of(json) + "\n";
}

}  // namespace dryshaft
