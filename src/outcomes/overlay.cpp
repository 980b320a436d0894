// The overlay as a file.
#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "base/json_out.hpp"
#include "base/sha256.hpp"
#include "dryshaft/outcomes.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

using OverlayJson = nlohmann::ordered_json;

std::string reason_of(const FittedRule& rule, const Knowledge& knowledge) {
  std::string shipped;
  const std::span<const Choice> levels = spec(rule.finding).levels;
  for (std::size_t l = 1; l < levels.size(); ++l) {
    shipped += fmt::format("{}{} {:g}", l > 1 ? ", " : "", levels[l].id, rule.shipped[l]);
  }
  const auto reason = [&](const auto& rules) {
    const auto found = std::ranges::find(rules, rule.id, &Item::id);
    return found == rules.end() ? std::string() : found->reason;
  };
  return fmt::format("Refitted to {}; before: {}. {}",
                     words::count(rule.teardowns, "own teardown", "own teardowns"), shipped,
                     rule.background ? reason(knowledge.backgrounds) : reason(knowledge.links));
}

}  // namespace

OutcomeFit pulled_back(const OutcomeFit& fit, double share) {
  OutcomeFit back = fit;
  back.share = share;
  for (FittedRule& r : back.rules) {
    for (std::size_t l = 1; l < spec(r.finding).levels.size(); ++l) {
      r.fitted[l] = r.shipped[l] + share * (r.fitted[l] - r.shipped[l]);
    }
  }
  return back;
}

std::string overlay_text(const OutcomeFit& fit, const Openings& openings,
                         const Knowledge& knowledge, const FitOptions& options) {
  OverlayJson json;
  json["format"] = kOverlayFormat;
  json["rules"] = {
      {"id", knowledge.id}, {"version", knowledge.version}, {"sha256", knowledge.rules_sha256}};
  json["tool"] = fmt::format("{} {}", kToolName, DRYSHAFT_VERSION);
  json["teardowns"] = openings.openings.size();
  json["prior_weight"] =
      options.prior_weight ? OverlayJson(*options.prior_weight) : OverlayJson(nullptr);
  std::string records;
  for (const Opening& o : openings.openings) {
    records += o.record_sha256 + "\n";
  }
  json["records_sha256"] = sha256_hex(records);
  json["backgrounds"] = OverlayJson::array();
  json["links"] = OverlayJson::array();
  for (const FittedRule& r : fit.rules) {
    OverlayJson item;
    item["id"] = r.id;
    OverlayJson& values = item[r.background ? "anyway" : "shows"];
    const std::span<const Choice> levels = spec(r.finding).levels;
    for (std::size_t l = 1; l < levels.size(); ++l) {
      values[std::string(levels[l].id)] = r.fitted[l];
    }
    item["teardowns"] = r.teardowns;
    item["reason"] = reason_of(r, knowledge);
    item["source"] = "own teardowns";
    json[r.background ? "backgrounds" : "links"].push_back(std::move(item));
  }
  return json_out::of(json, 2) + "\n";
}

}  // namespace dryshaft
