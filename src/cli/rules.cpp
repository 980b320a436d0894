#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>

#include "cli/cli.hpp"

namespace dryshaft::cli {
namespace {

struct Options {
  std::string id;
  DataOptions data;
};

std::string wrapped(std::string_view label, std::string_view text) {
  constexpr std::size_t kWidth = 80;
  constexpr std::size_t kIndent = 12;
  std::string out = fmt::format("  {:<10}", label);
  std::size_t at = kIndent;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find(' '), text.size());
    const std::string_view word = text.substr(0, end);
    if (at + word.size() + 1 > kWidth && at > kIndent) {
      out += "\n" + std::string(kIndent, ' ');
      at = kIndent;
    } else if (at > kIndent) {
      out += ' ';
      ++at;
    }
    out += word;
    at += word.size();
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return out + "\n";
}

// An item and what makes it more than an item, as labelled lines.
struct Shown {
  std::string kind;
  const Item* item = nullptr;
  std::vector<std::pair<std::string, std::string>> more;
};

std::string levels(Finding finding, const std::array<double, kMaxLevels>& values) {
  std::vector<std::string> parts;
  const std::span<const Choice> words = spec(finding).levels;
  for (std::size_t l = 1; l < words.size(); ++l) {
    parts.push_back(fmt::format("{}{} {:g}", words[l].id, l + 1 < words.size() ? " or worse" : "",
                                values.at(l)));
  }
  return fmt::format("{}", fmt::join(parts, ", "));
}

std::string limits(const Advice& a) {
  std::string text(name(a.urgency));
  if (a.at_recheck) {
    return text + ", at the computed recheck";
  }
  if (a.within_km) {
    text += fmt::format(", within {:g} km", *a.within_km);
  }
  if (a.within_days) {
    text += fmt::format(", within {:g} days", *a.within_days);
  }
  return text;
}

std::string prior(const CauseRule& c) {
  std::string text;
  if (c.by) {
    std::vector<std::string> parts;
    for (std::size_t i = 0; i < spec(*c.by).values.size(); ++i) {
      parts.push_back(fmt::format("{} {:g}", spec(*c.by).values[i].id, c.base.at(i)));
    }
    text = fmt::format("by {}: {}", spec(*c.by).name, fmt::join(parts, ", "));
  } else {
    text = fmt::format("{:g}", c.base[0]);
  }
  if (c.wear) {
    text += fmt::format(
        "; wear-out (Weibull): shape {:g}, scale {:g} km and {:g} years, {:g} km assumed where "
        "unknown",
        c.wear->shape, c.wear->scale_km, c.wear->scale_years, c.wear->unknown_km);
  }
  for (std::size_t p = 0; p < kCauseCount; ++p) {
    if (c.given.at(p) > 0) {
      text += fmt::format("; {:g} given {}", c.given.at(p), causes()[p].name);
    }
  }
  return text;
}

std::vector<Shown> all_items(const Knowledge& k) {
  std::vector<Shown> items;
  for (const CauseRule& c : k.causes) {
    items.push_back({"cause", &c, {{"title", c.title}, {"plain", c.plain}, {"prior", prior(c)}}});
  }
  for (const Background& b : k.backgrounds) {
    items.push_back({"background",
                     &b,
                     {{"finding", std::string(name(b.finding))},
                      {"anyway", levels(b.finding, b.anyway)}}});
  }
  for (const Link& l : k.links) {
    items.push_back({"link",
                     &l,
                     {{"finding", std::string(name(l.finding))},
                      {"cause", std::string(name(l.cause))},
                      {"shows", levels(l.finding, l.shows)}}});
  }
  for (const Floor& f : k.floors) {
    items.push_back({"floor",
                     &f,
                     {{"grade", fmt::format("at least {}", name(f.grade))},
                      {"when", describe(f.when)},
                      {"plain", f.plain}}});
  }
  for (const ActionRule& a : k.actions) {
    Shown s{"action", &a, {{"text", a.text}, {"plain", a.owner_text}}};
    if (!a.cautions.empty()) {
      s.more.emplace_back("cautions", fmt::format("{}", fmt::join(a.cautions, ", ")));
    }
    if (!a.reveals.empty()) {
      std::vector<std::string_view> names;
      for (const Finding f : a.reveals) {
        names.push_back(name(f));
      }
      s.more.emplace_back("check", fmt::format("{:g} minutes, reveals {}", a.minutes,
                                               fmt::join(names, ", ")));
    }
    items.push_back(std::move(s));
  }
  for (const Advice& a : k.advice) {
    items.push_back({"advice",
                     &a,
                     {{"action", a.action},
                      {"urgency", limits(a)},
                      {"when", describe(a.when)},
                      {"plain", a.plain}}});
  }
  for (const CautionRule& c : k.cautions) {
    items.push_back({"caution", &c, {{"text", c.text}, {"plain", c.owner_text}}});
  }
  for (const GradeRule& g : k.grades) {
    items.push_back({"grade", &g, {{"meaning", g.meaning}, {"plain", g.owner_meaning}}});
  }
  for (const OutlookRule& o : k.outlooks) {
    items.push_back({"outlook",
                     &o,
                     {{"outlook", std::string(name(o.outlook))}, {"when", describe(o.when)}}});
  }
  for (const ContradictionRule& c : k.contradictions) {
    items.push_back({"contradiction", &c, {{"text", c.text}, {"plain", c.plain}}});
  }
  for (const Family& f : k.families) {
    items.push_back({"family", &f, {{"title", f.title}}});
  }
  return items;
}

int list(const Options& o) {
  const Result<Knowledge> knowledge = load(o.data);
  if (!knowledge.value) {
    return kRejected;
  }
  const Knowledge& k = *knowledge.value;
  Output output(std::nullopt);
  output.write(fmt::format("rules {} version {}, sha256 {}\n", k.id, k.version, k.sha256));
  std::string_view kind;
  const std::vector<Shown> items = all_items(k);
  for (const Shown& s : items) {
    if (s.kind != kind) {
      kind = s.kind;
      output.write(fmt::format("\n{}\n", kind));
    }
    output.write(fmt::format("  {}\n", s.item->id));
  }
  output.write("\n`dryshaft rules show ID` tells what one says, why, and where it comes from.\n");
  return output.finish();
}

int show(const Options& o) {
  const Result<Knowledge> knowledge = load(o.data);
  if (!knowledge.value) {
    return kRejected;
  }
  const std::vector<Shown> items = all_items(*knowledge.value);
  std::vector<std::string_view> ids;
  for (const Shown& s : items) {
    ids.emplace_back(s.item->id);
    if (s.item->id != o.id) {
      continue;
    }
    Output output(std::nullopt);
    std::string text = fmt::format("{} {}\n", s.kind, s.item->id);
    for (const auto& [label, value] : s.more) {
      text += wrapped(label, value);
    }
    text += wrapped("why", s.item->reason);
    text += wrapped("source", shown(s.item->source));
    text += wrapped("file", fmt::format("{}:{}", s.item->file, s.item->line));
    output.write(text);
    return output.finish();
  }
  const std::string_view near = closest(o.id, ids);
  throw Stop{kUsage,
             fmt::format("the rules hold no \"{}\"{}", o.id,
                         near.empty() ? std::string() : fmt::format(", did you mean \"{}\"?", near))};
}

}  // namespace

Run add_rules(CLI::App& parent) {
  auto o = std::make_shared<Options>();
  CLI::App* app = parent.add_subcommand("rules", "The rule base: what it holds and why");
  app->require_subcommand(1);
  CLI::App* listing = app->add_subcommand("list", "Ids of all rules, by kind");
  CLI::App* showing = app->add_subcommand("show", "One rule: what it says, why, its source");
  showing->add_option("ID", o->id, "Id of a rule")->required();
  add_data_options(*listing, o->data);
  add_data_options(*showing, o->data);
  return [o, listing] { return listing->parsed() ? list(*o) : show(*o); };
}

}  // namespace dryshaft::cli
