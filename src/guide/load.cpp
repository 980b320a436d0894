// Reads guide files and the `guide` members of family files into `Guides`.
#include <fmt/format.h>

#include <algorithm>
#include <deque>
#include <map>
#include <optional>
#include <set>
#include <utility>

#include "base/located_json.hpp"
#include "dryshaft/guide.hpp"
#include "guide/values.hpp"
#include "knowledge/object_view.hpp"
#include "knowledge/owner_words.hpp"

namespace dryshaft {
namespace {

using located::Kind;
using located::Node;

// A file as long as it is needed: complaints point into it.
struct File {
  NamedText named;
  bool borrowed = false;
  std::optional<located::Document> document;
};

class GuideLoader {
 public:
  explicit GuideLoader(const Knowledge& knowledge) : k_(knowledge), never_(knowledge) {}

  Result<Guides> load(std::vector<NamedText> guides, std::vector<NamedText> borrowed,
                      std::vector<NamedText> families);

 private:
  void complain(const File& file, const Node& node, std::string_view code, std::string message,
                std::string allowed = {}, std::string hint = {});
  std::string checked(ObjectView& view, const Node* node);
  std::string text(ObjectView& view, std::string_view key) {
    return checked(view, view.required(key));
  }
  std::string optional_text(ObjectView& view, std::string_view key) {
    return checked(view, view.optional(key));
  }
  template <typename Each>
  void each_element(ObjectView& view, std::string_view key, Each each);
  std::vector<GuideLine> lines(ObjectView& view, std::string_view key);
  GuideStep step(ObjectView& view);
  std::string access_of(ObjectView& view);

  void access(const File& file, ObjectView& top, GuideSet& set);
  void procedures(const File& file, ObjectView& top, GuideSet& set);
  bool action(const File& file, ObjectView& view, Procedure& p);
  bool cautions(const File& file, ObjectView& view, Procedure& p);
  void fields(ObjectView& view, Procedure& p);
  void family(File& file);
  void family_steps(ObjectView& view, GuideSet& set, std::set<std::string>& changed);
  void family_figures(ObjectView& view, GuideSet& set, std::set<std::string>& changed);
  Procedure* procedure_of(ObjectView& view, GuideSet& set);
  void steps_for_each_access(const GuideSet& set, std::size_t first);

  const Knowledge& k_;
  ReservedWords never_;
  Guides guides_;
  std::vector<Diagnostic> out_;
  ItemReader items_;
  std::set<std::string, std::less<>> left_out_;  // procedures that the rules have nothing for
  // While something is read:
  Audience audience_ = Audience::technician;
  Words access_;
  std::map<std::string, std::pair<const File*, const Node*>, std::less<>> access_at_;
};

void GuideLoader::complain(const File& file, const Node& node, std::string_view code,
                           std::string message, std::string allowed, std::string hint) {
  Diagnostic d = file.document->at(node, code, std::move(message));
  d.allowed = std::move(allowed);
  d.hint = std::move(hint);
  out_.push_back(std::move(d));
}

// A text that readers see: it names no unknown value, and tells an owner
// nothing that is reserved for trained people.
std::string GuideLoader::checked(ObjectView& view, const Node* node) {
  if (node == nullptr) {
    return {};
  }
  std::string said = view.text_at(*node);
  if (const guide::BadName bad = guide::bad_name(said); bad.found) {
    view.complain(*node, "no-such-name", fmt::format("names the value \"{}\"", bad.name),
                  joined(guide_values()), did_you_mean(bad.name, guide_values()));
  }
  if (audience_ == Audience::owner) {
    if (const std::string_view phrase = never_.in(said); !phrase.empty()) {
      view.complain(*node, "for-trained-people", fmt::format("tells an owner to \"{}\"", phrase),
                    "", "leave it to a workshop, in a sentence that says so");
    }
  }
  return said;
}

template <typename Each>
void GuideLoader::each_element(ObjectView& view, std::string_view key, Each each) {
  const Node* list = view.optional(key);
  if (list == nullptr) {
    return;
  }
  if (list->kind != Kind::array || list->children == 0) {
    const bool empty = list->kind == Kind::array;
    view.complain(*list, empty ? "missing" : "wrong-type",
                  empty ? "is empty" : fmt::format("is {}", located::shown(view.document(), *list)),
                  "an array with something in it");
    return;
  }
  for (const Node* n = view.document().first(*list); n != nullptr; n = view.document().next(*n)) {
    each(*n);
  }
}

std::string GuideLoader::access_of(ObjectView& view) {
  const Node* node = view.optional("access");
  const auto word = node == nullptr ? std::nullopt : view.word_at(*node, access_);
  return word ? std::string(access_[*word]) : std::string();
}

// Each line a text, or an object where it holds for one access kind alone.
std::vector<GuideLine> GuideLoader::lines(ObjectView& view, std::string_view key) {
  std::vector<GuideLine> found;
  each_element(view, key, [&](const Node& n) {
    if (n.kind != Kind::object) {
      found.push_back({checked(view, &n), {}});
      return;
    }
    ObjectView inside(view.document(), n, out_);
    GuideLine line;
    line.text = text(inside, "text");
    line.access = access_of(inside);
    inside.done();
    found.push_back(std::move(line));
  });
  return found;
}

GuideStep GuideLoader::step(ObjectView& view) {
  GuideStep s;
  s.id = view.text("id");
  s.text = text(view, "text");
  s.why = optional_text(view, "why");
  s.access = access_of(view);
  return s;
}

void GuideLoader::access(const File& file, ObjectView& top, GuideSet& set) {
  each_element(top, "access", [&](const Node& n) {
    ObjectView view(top.document(), n, out_);
    if (!view.is_object()) {
      return;
    }
    AccessKind kind;
    items_.read(view, kind);
    kind.title = text(view, "title");
    kind.find = text(view, "find");
    view.done();
    access_at_[kind.id] = {&file, &n};
    set.access.push_back(std::move(kind));
  });
}

bool GuideLoader::action(const File& file, ObjectView& view, Procedure& p) {
  const Node* node = view.required("action");
  if (node == nullptr) {
    return false;
  }
  const Words known = ids_of(k_.actions);
  if (file.borrowed && node->kind == Kind::text && k_.action(node->text) == nullptr) {
    Diagnostic d = file.document->at(
        *node, "left-out", fmt::format("is \"{}\", which these rules do not have", node->text));
    d.severity = Severity::warning;
    d.hint = "the guide goes without this procedure; --guides names guides of your own";
    out_.push_back(std::move(d));
    return false;
  }
  const auto word = view.word_at(*node, known);
  if (!word) {
    return false;
  }
  const ActionRule& rule = k_.actions[*word];
  p.action = rule.id;
  if (p.audience == Audience::owner && !rule.owner_can) {
    view.complain(*node, "for-trained-people", fmt::format("lets an owner do \"{}\"", rule.id),
                  "an action that the rules let an owner do",
                  "the owner's guide names it as work for a workshop on its own");
  }
  return true;
}

bool GuideLoader::cautions(const File& file, ObjectView& view, Procedure& p) {
  bool all = true;
  const Words known = ids_of(k_.cautions);
  each_element(view, "cautions", [&](const Node& n) {
    if (file.borrowed && n.kind == Kind::text && k_.caution(n.text) == nullptr) {
      Diagnostic d = file.document->at(
          n, "left-out", fmt::format("is \"{}\", a caution that these rules do not have", n.text));
      d.severity = Severity::warning;
      d.hint = "the guide goes without this procedure; --guides names guides of your own";
      out_.push_back(std::move(d));
      all = false;
    } else if (const auto word = view.word_at(n, known)) {
      p.cautions.emplace_back(known[*word]);
    }
  });
  return all;
}

void GuideLoader::fields(ObjectView& view, Procedure& p) {
  each_element(view, "write", [&](const Node& n) {
    const auto field = n.kind == Kind::text ? field_at(n.text) : std::nullopt;
    if (!field) {
      Words known;
      for (const FieldSpec& f : dryshaft::fields()) {
        known.push_back(f.pointer);
      }
      view.complain(n, "no-such-field", fmt::format("is {}", located::shown(view.document(), n)),
                    "the JSON pointer of a field of the record",
                    n.kind == Kind::text ? did_you_mean(n.text, known) : std::string());
    } else if (std::ranges::find(p.write, *field) != p.write.end()) {
      view.complain(n, "repeated", "is written down a second time");
    } else {
      p.write.push_back(*field);
    }
  });
}

void GuideLoader::procedures(const File& file, ObjectView& top, GuideSet& set) {
  each_element(top, "procedures", [&](const Node& n) {
    ObjectView view(top.document(), n, out_);
    if (!view.is_object()) {
      return;
    }
    Procedure p;
    items_.read(view, p);
    if (const auto who = view.word("for", {"technician", "owner"})) {
      p.audience = static_cast<Audience>(*who);
    }
    audience_ = p.audience;
    bool usable = action(file, view, p);
    p.title = text(view, "title");
    p.who = text(view, "who");
    usable = cautions(file, view, p) && usable;
    p.tools = lines(view, "tools");
    view.required("steps");
    each_element(view, "steps", [&](const Node& s) {
      ObjectView inside(top.document(), s, out_);
      if (!inside.is_object()) {
        return;
      }
      GuideStep one = step(inside);
      if (!one.id.empty() && std::ranges::find(p.steps, one.id, &GuideStep::id) != p.steps.end()) {
        inside.complain(*inside.optional("id"), "repeated-id", fmt::format("is \"{}\"", one.id),
                        "an id that no other step here has");
      }
      inside.done();
      p.steps.push_back(std::move(one));
    });
    p.look = lines(view, "look");
    p.figures = lines(view, "figures");
    fields(view, p);
    view.done();
    audience_ = Audience::technician;
    if (usable) {
      set.procedures.push_back(std::move(p));
    } else {
      left_out_.insert(p.id);
    }
  });
}

// ------------------------------------------------------- what a family adds

Procedure* GuideLoader::procedure_of(ObjectView& view, GuideSet& set) {
  const Node* named = view.optional("procedure");
  if (named != nullptr && named->kind == Kind::text && left_out_.contains(named->text)) {
    return nullptr;
  }
  const auto word = view.word("procedure", ids_of(set.procedures));
  return word ? &set.procedures[*word] : nullptr;
}

void GuideLoader::family_steps(ObjectView& view, GuideSet& set, std::set<std::string>& changed) {
  std::map<std::string, std::ptrdiff_t> behind;  // step -> how many were put behind it
  each_element(view, "steps", [&](const Node& n) {
    ObjectView inside(view.document(), n, out_);
    if (!inside.is_object()) {
      return;
    }
    Procedure* p = procedure_of(inside, set);
    audience_ = p == nullptr ? Audience::technician : p->audience;
    GuideStep one = step(inside);
    audience_ = Audience::technician;
    const Node* place = nullptr;
    std::string_view how;
    for (const std::string_view key : {"replace", "before", "after"}) {
      if (const Node* given = inside.optional(key)) {
        if (place != nullptr) {
          inside.complain(*given, "repeated", fmt::format("stands beside \"{}\"", how),
                          "one of replace, before, after");
        }
        place = given;
        how = key;
      }
    }
    if (place == nullptr) {
      inside.complain(n, "missing", "says not where it goes", "one of replace, before, after");
    }
    inside.done();
    if (p == nullptr || place == nullptr) {
      return;
    }
    const auto word = inside.word_at(*place, ids_of(p->steps));
    if (!word) {
      return;
    }
    auto at = p->steps.begin() + static_cast<std::ptrdiff_t>(*word);
    const auto same = std::ranges::find(p->steps, one.id, &GuideStep::id);
    if (!one.id.empty() && same != p->steps.end() && !(how == "replace" && same == at)) {
      inside.complain(*inside.optional("id"), "repeated-id", fmt::format("is \"{}\"", one.id),
                      "an id that no other step here has");
      return;
    }
    changed.insert(p->id);
    if (how == "replace") {
      *at = std::move(one);
    } else {
      if (how == "after") {
        at += 1 + behind[p->id + "/" + at->id]++;
      }
      p->steps.insert(at, std::move(one));
    }
  });
}

void GuideLoader::family_figures(ObjectView& view, GuideSet& set, std::set<std::string>& changed) {
  each_element(view, "figures", [&](const Node& n) {
    ObjectView inside(view.document(), n, out_);
    if (!inside.is_object()) {
      return;
    }
    Procedure* p = procedure_of(inside, set);
    audience_ = p == nullptr ? Audience::technician : p->audience;
    GuideLine line;
    line.text = text(inside, "text");
    line.access = access_of(inside);
    audience_ = Audience::technician;
    inside.done();
    if (p != nullptr) {
      changed.insert(p->id);
      p->figures.push_back(std::move(line));
    }
  });
}

void GuideLoader::family(File& file) {
  const located::Document& document = *file.document;
  const Node* id = document.find(document.root(), "id");
  const Node* own = document.find(document.root(), kGuideMember);
  if (id == nullptr) {
    return;
  }
  GuideSet set = guides_.common;
  const std::size_t common_access = set.access.size();
  if (own != nullptr) {
    ObjectView view(document, *own, out_);
    Item about;
    if (view.is_object()) {
      items_.read_grounds(view, about);
      access(file, view, set);
      access_ = ids_of(set.access);
      const std::size_t before = set.procedures.size();
      procedures(file, view, set);
      std::set<std::string> changed;
      family_steps(view, set, changed);
      family_figures(view, set, changed);
      view.done();
      for (std::size_t i = 0; i < before; ++i) {
        if (changed.contains(set.procedures[i].id)) {
          set.procedures[i].also_from.push_back(about.source);
        }
      }
    }
  }
  steps_for_each_access(set, common_access);
  const Node* vehicles = document.find(document.root(), "vehicles");
  for (const Node* v = vehicles == nullptr ? nullptr : document.first(*vehicles); v != nullptr;
       v = document.next(*v)) {
    const Node* port = document.find(*v, "port_access");
    const Words known = ids_of(set.access);
    if (port != nullptr && std::ranges::find(known, port->text) == known.end()) {
      const std::string hint = did_you_mean(port->text, known);
      complain(file, *port, "no-such-name",
               fmt::format("is \"{}\", for which no guide has steps", port->text), joined(known),
               hint.empty() ? "add the access kind and its steps to \"guide\" in this file" : hint);
    }
  }
  if (own != nullptr) {
    guides_.families.emplace(std::string(id->text), std::move(set));
  }
}

void GuideLoader::steps_for_each_access(const GuideSet& set, std::size_t first) {
  for (std::size_t i = first; i < set.access.size(); ++i) {
    const std::string& kind = set.access[i].id;
    const auto has_step = [&](const Procedure& p) {
      return std::ranges::find(p.steps, kind, &GuideStep::access) != p.steps.end();
    };
    if (std::ranges::none_of(set.procedures, has_step)) {
      const auto& [file, node] = access_at_.at(kind);
      complain(*file, *node, "missing", fmt::format("has no step for the access \"{}\"", kind), "",
               fmt::format("give at least one step \"access\": \"{}\"", kind));
    }
  }
}

Result<Guides> GuideLoader::load(std::vector<NamedText> guides, std::vector<NamedText> borrowed,
                                 std::vector<NamedText> families) {
  const auto by_name = [](const File& f) {
    return f.named.name.substr(f.named.name.find_last_of('/') + 1);
  };
  const auto take = [](std::vector<NamedText> texts, bool lent, std::deque<File>& into) {
    for (NamedText& t : texts) {
      into.push_back({.named = std::move(t), .borrowed = lent, .document = std::nullopt});
    }
  };
  std::deque<File> files;
  take(std::move(guides), false, files);
  take(std::move(borrowed), true, files);
  std::ranges::sort(files, {}, by_name);
  std::deque<File> family_files;
  take(std::move(families), false, family_files);
  std::ranges::sort(family_files, {}, by_name);

  bool readable = true;
  const auto open = [&](File& f) {
    f.document.emplace(f.named.text, Origin{.source = f.named.name}, kDataLimits, out_);
    readable = readable && f.document->usable();
  };
  std::ranges::for_each(files, open);
  std::ranges::for_each(family_files, open);
  if (readable) {
    std::deque<ObjectView> tops;
    for (const File& f : files) {
      ObjectView& top = tops.emplace_back(*f.document, f.document->root(), out_);
      if (top.is_object()) {
        top.word("format", {kGuideFormat});
        access(f, top, guides_.common);
      }
    }
    access_ = ids_of(guides_.common.access);
    for (std::size_t i = 0; i < files.size(); ++i) {
      if (tops[i].is_object()) {
        procedures(files[i], tops[i], guides_.common);
        tops[i].done();
      }
    }
    if (guides_.common.procedures.empty()) {
      Diagnostic d;
      d.code = "missing";
      d.source = files.empty() ? "guides" : files.front().named.name;
      d.message = "there is no procedure";
      out_.push_back(std::move(d));
    } else {
      for (File& f : family_files) {
        access_ = ids_of(guides_.common.access);
        family(f);
      }
      steps_for_each_access(guides_.common, 0);
    }
  }
  Result<Guides> result;
  result.diagnostics = std::move(out_);
  if (!result.has_errors()) {
    result.value = std::move(guides_);
  }
  return result;
}

}  // namespace

const GuideSet& Guides::of(std::string_view family) const {
  const auto own = families.find(family);
  return own == families.end() ? common : own->second;
}

Result<Guides> load_guides(std::vector<NamedText> guides, std::vector<NamedText> borrowed,
                           std::vector<NamedText> families, const Knowledge& knowledge) {
  return GuideLoader(knowledge).load(std::move(guides), std::move(borrowed), std::move(families));
}

}  // namespace dryshaft
