// The guide as blocks of a document: cautions stand before every step.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "decide/wording.hpp"
#include "drawings/drawings.hpp"
#include "dryshaft/guide.hpp"
#include "guide/values.hpp"
#include "knowledge/condition.hpp"
#include "knowledge/condition_set.hpp"
#include "report/document.hpp"
#include "report/markup.hpp"
#include "report/render.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

using document::Document;
using document::Drawn;
using document::Heading;
using document::Lead;
using document::Paragraph;
using document::Title;
using Ids = std::set<std::string, std::less<>>;

constexpr std::string_view kStyle =
#include "report/sheet.css.inc"
// what differs in a guide
#include "guide/guide.css.inc"
    ;

// Whether a condition asks for nothing but the rotor's magnets, which the
// guide knows; what it cannot judge never hides a caution.
bool asks_magnets_alone(const Condition& c) {
  constexpr std::uint8_t kAllGrades = 0x1F;
  return c.findings.empty() && c.causes.empty() && c.any.empty() && c.none.empty() &&
         c.grades == kAllGrades &&
         std::ranges::all_of(c.situations, [](const Condition::SituationIs& s) {
           return s.situation == Situation::rotor_magnets;
         });
}

class Guide {
 public:
  Guide(const Guides& guides, const Knowledge& knowledge, const GuideRequest& request)
      : k_(knowledge),
        r_(request),
        set_(guides.of(request.family)),
        family_(knowledge.family(request.family)),
        values_{knowledge, family_, request.units} {
    facts_.level.fill(-1);
    facts_.situation[static_cast<std::size_t>(Situation::rotor_magnets)] =
        static_cast<std::uint8_t>(family_.magnets);
    for (const VehicleProfile& v : family_.vehicles) {
      if (request.vehicle.empty() || v.id == request.vehicle) {
        vehicles_.push_back(&v);
      }
    }
    for (const AccessKind& a : set_.access) {
      if (vehicles_.empty() ||
          std::ranges::any_of(vehicles_, [&](const auto* v) { return v->port_access == a.id; })) {
        access_.push_back(&a);
      }
    }
  }

  Document document() {
    const std::vector<const Procedure*> shown = procedures();
    head(shown);
    for (std::size_t i = 0; i < shown.size(); ++i) {
      procedure(*shown[i], shown.size() > 1 ? fmt::format("{}. ", i + 1) : std::string());
    }
    if (owner()) {
      for_a_workshop();
    }
    d_.emplace_back(Heading{"Basis of this guide"});
    d_.emplace_back(
        Paragraph{fmt::format("dryshaft {}. Rules {} {}. A guide to screening: the manufacturer's "
                              "instructions and local rules come first.",
                              DRYSHAFT_VERSION, k_.id, k_.version)});
    return std::move(d_);
  }

  [[nodiscard]] std::string title() const {
    const std::string unit = r_.family.empty() ? std::string() : fmt::format(": {}", family_.title);
    return fmt::format("{}{}{}", owner() ? "What you can check yourself" : "Inspection guide", unit,
                       r_.vehicle.empty() ? "" : ", " + r_.vehicle);
  }

  std::vector<std::string_view> checks() const {
    std::vector<std::string_view> ids;
    const auto add = [&](std::string_view id) {
      if (std::ranges::find(ids, id) == ids.end()) {
        ids.push_back(id);
      }
    };
    for (const Procedure& p : set_.procedures) {
      if (p.audience == r_.audience || reserved(p)) {
        add(p.action);
      }
    }
    return ids;
  }

 private:
  [[nodiscard]] bool owner() const { return r_.audience == Audience::owner; }

  // What an owner reads of a procedure is then that it is for a workshop.
  [[nodiscard]] bool reserved(const Procedure& p) const {
    return owner() && p.audience == Audience::technician && !k_.action(p.action)->owner_can;
  }

  [[nodiscard]] bool wanted(const Procedure& p) const {
    return r_.check.empty() || p.action == r_.check || p.id == r_.check;
  }

  [[nodiscard]] std::vector<const Procedure*> procedures() const {
    std::vector<const Procedure*> shown;
    for (const Procedure& p : set_.procedures) {
      if (p.audience == r_.audience && wanted(p)) {
        shown.push_back(&p);
      }
    }
    return shown;
  }

  void heading(std::string text) { d_.emplace_back(Heading{std::move(text)}); }
  void item(std::string_view text, std::vector<std::string> below = {}) {
    d_.emplace_back(document::Item{0, std::string(text), std::move(below)});
  }
  [[nodiscard]] std::string filled(std::string_view text) const {
    return guide::filled(text, values_);
  }
  [[nodiscard]] const std::string& said(const CautionRule& c) const {
    return owner() ? c.owner_text : c.text;
  }
  [[nodiscard]] bool holds_here(const CautionRule& c) const {
    return !asks_magnets_alone(c.when) || holds(c.when, facts_);
  }

  void head(const std::vector<const Procedure*>& shown) {
    std::string below;
    if (!r_.vehicle.empty() && !access_.empty()) {
      below = fmt::format("Sensor port {}.", access_.front()->title);
    }
    if (!owner() && r_.family.empty()) {
      below = "No family is named, so this guide shows every way to the sensor port.";
    } else if (!owner() && r_.vehicle.empty() && access_.size() > 1) {
      below = "No vehicle is named, so this guide shows every way to the sensor port.";
    }
    d_.emplace_back(Title{title(), owner() ? std::string() : below});
    for (const CautionRule& c : k_.cautions) {
      if (c.always && always_holds(c.when)) {
        d_.emplace_back(Paragraph{said(c)});
      }
    }
    if (shown.size() > 1) {
      heading("Checks");
      for (std::size_t i = 0; i < shown.size(); ++i) {
        d_.emplace_back(document::Item{
            i + 1, fmt::format("{}{}.", shown[i]->title, minutes(*shown[i], ": ")), {}});
      }
    }
  }

  [[nodiscard]] std::string minutes(const Procedure& p, std::string_view before) const {
    const double m = k_.action(p.action)->minutes;
    return m > 0 ? fmt::format("{}about {:g} minutes", before, m) : std::string();
  }

  void cautions(const Ids& needed) {
    for (const CautionRule& c : k_.cautions) {
      if (needed.contains(c.id) && !c.always && holds_here(c)) {
        item(said(c));
      }
    }
  }

  // Lines that hold for an access kind of this guide, with its name where there are several.
  [[nodiscard]] std::string line(const GuideLine& l) const {
    const auto kind = std::ranges::find(access_, l.access, [](const auto* a) { return a->id; });
    if (l.access.empty()) {
      return filled(l.text);
    }
    if (kind == access_.end()) {
      return {};
    }
    return access_.size() == 1 ? filled(l.text)
                               : fmt::format("Port {}: {}", (*kind)->title, filled(l.text));
  }

  void lines(std::string_view head, const std::vector<GuideLine>& all) {
    std::vector<std::string> kept;
    for (const GuideLine& l : all) {
      if (std::string text = line(l); !text.empty()) {
        kept.push_back(std::move(text));
      }
    }
    if (!kept.empty()) {
      heading(std::string(head));
      for (std::string& text : kept) {
        item(text);
      }
    }
  }

  void procedure(const Procedure& p, const std::string& number) {
    const ActionRule& action = *k_.action(p.action);
    d_.emplace_back(Title{number + p.title, sentence_case(minutes(p, "")) + "."});
    heading("Before you start");
    Ids needed(p.cautions.begin(), p.cautions.end());
    needed.insert(action.cautions.begin(), action.cautions.end());
    if (owner()) {
      needed.insert(action.owner_cautions.begin(), action.owner_cautions.end());
    }
    cautions(needed);
    d_.emplace_back(Lead{"Who", filled(p.who), std::nullopt});
    lines(owner() ? "What you need" : "Tools", p.tools);
    if (std::ranges::any_of(p.steps, [](const GuideStep& s) { return !s.access.empty(); })) {
      where_the_port_is();
    }
    heading("Steps");
    std::size_t n = 0;
    for (const GuideStep& s : p.steps) {
      if (std::string text = line(s); !text.empty()) {
        std::vector<std::string> below;
        if (!s.why.empty()) {
          below.push_back("Why: " + filled(s.why));
        }
        const Drawing* const drawing = drawing_for(text);
        d_.emplace_back(document::Item{++n, std::move(text), std::move(below)});
        draw(drawing);
      }
    }
    lines("What to look for", p.look);
    for (const Field f : p.write) {
      draw(p.look.empty() || f == Field::port_checked ? nullptr : drawing_of_field(f));
    }
    lines("Figures", p.figures);
    write_down(p);
    heading(owner() ? "Why" : "Why, and from where");
    std::string from = filled(p.reason);
    if (!owner()) {
      from += fmt::format(" ({}", shown(p.source));
      for (const Provenance& also : p.also_from) {
        from += fmt::format("; the steps for {}: {}", family_.title, shown(also));
      }
      from += ")";
    }
    d_.emplace_back(Paragraph{from});
    if (is_port_check(p.action)) {
      draw(drawing_named(kLeakDrawing));
    }
  }

  [[nodiscard]] bool is_port_check(std::string_view action) const {
    return k_.action(ActionRole::look_at_port).id == action;
  }

  // Text and Markdown say it in words alone.
  void draw(const Drawing* drawing) {
    if (drawing != nullptr) {
      d_.emplace_back(Drawn{drawing});
    }
  }

  // Of the field that a step says to write down.
  static const Drawing* drawing_for(std::string_view step) {
    for (const Drawing& d : drawings()) {
      if (std::ranges::any_of(d.fields, [&](Field f) {
            return step.find(fmt::format("({})", spec(f).pointer)) != std::string_view::npos;
          })) {
        return &d;
      }
    }
    return nullptr;
  }

  void where_the_port_is() {
    if (owner()) {
      return;
    }
    heading("Where the port is");
    for (const AccessKind* a : access_) {
      std::string names;
      for (const VehicleProfile* v : vehicles_) {
        if (v->port_access == a->id) {
          names += (names.empty() ? "" : ", ") + v->id;
        }
      }
      item(fmt::format(
          "{}: {}",
          names.empty() ? sentence_case(a->title) : fmt::format("{}, {}", names, a->title),
          filled(a->find)));
    }
    for (const AccessKind* a : access_) {
      draw(drawing_of_access(a->id));
    }
  }

  void write_down(const Procedure& p) {
    if (p.write.empty()) {
      return;
    }
    heading("Write down");
    if (!owner()) {
      d_.emplace_back(document::entry_of(spec(Field::unit_id), r_.audience, r_.units));
    }
    for (const Field f : p.write) {
      d_.emplace_back(document::entry_of(spec(f), r_.audience, r_.units));
    }
    d_.emplace_back(Paragraph{"Leave empty what was not checked: it then counts neither way."});
    if (owner()) {
      return;
    }
    // Members of one object stand behind its pointer, which is said once.
    std::vector<std::pair<std::string, std::string>> groups;
    for (const Field f : p.write) {
      std::string pointer(spec(f).pointer);
      if (spec(f).miles_too && r_.units == Units::mi) {
        pointer.replace(pointer.size() - 2, 2, words::unit_name(Units::mi));
      }
      const std::size_t cut = pointer.find_last_of('/');
      const std::string parent = pointer.substr(0, cut + 1);
      if (groups.empty() || groups.back().first != parent) {
        groups.emplace_back(parent, pointer.substr(cut + 1));
      } else {
        groups.back().second += ", " + pointer.substr(cut + 1);
      }
    }
    std::string in_record;
    for (const auto& [parent, names] : groups) {
      in_record += fmt::format("{}{} {}", in_record.empty() ? "" : "; ", parent, names);
    }
    d_.emplace_back(Paragraph{"In the record: " + in_record + "."});
  }

  void for_a_workshop() {
    Ids needed;
    std::vector<std::string_view> done;
    std::vector<const ActionRule*> actions;
    for (const Procedure& p : set_.procedures) {
      const ActionRule* action = k_.action(p.action);
      if (reserved(p) && wanted(p) && std::ranges::find(actions, action) == actions.end()) {
        actions.push_back(action);
        needed.insert(action->owner_cautions.begin(), action->owner_cautions.end());
        for (const std::string& id : action->cautions) {
          if (k_.caution(id)->trained_only) {
            needed.insert(id);
          }
        }
      }
    }
    if (actions.empty()) {
      return;
    }
    heading("For a workshop, not for you");
    cautions(needed);
    heading("What to ask a workshop for");
    for (const ActionRule* action : actions) {
      item(action->owner_text);
    }
    if (std::ranges::any_of(actions, [&](const ActionRule* a) { return is_port_check(a->id); })) {
      draw(drawing_named(kPortDrawing));
    }
  }

  const Knowledge& k_;
  const GuideRequest& r_;
  const GuideSet& set_;
  const Family& family_;
  guide::ValueSource values_;
  Facts facts_;
  std::vector<const VehicleProfile*> vehicles_;
  std::vector<const AccessKind*> access_;
  Document d_;
};

}  // namespace

std::vector<std::string_view> guide_checks(const Guides& guides, const Knowledge& knowledge,
                                           const GuideRequest& request) {
  return Guide(guides, knowledge, request).checks();
}

std::string guide_to_text(const Guides& guides, const Knowledge& knowledge,
                          const GuideRequest& request, const TextStyle& style) {
  return document::in_text(Guide(guides, knowledge, request).document(), style);
}

std::string guide_to_markdown(const Guides& guides, const Knowledge& knowledge,
                              const GuideRequest& request) {
  return document::in_markdown(Guide(guides, knowledge, request).document());
}

Sheet guide_sheet(const Guides& guides, const Knowledge& knowledge, const GuideRequest& request) {
  Guide guide(guides, knowledge, request);
  return {.title = guide.title(),
          .style = std::string(kStyle),
          .body = fmt::format("<main>\n{}</main>\n", document::in_html(guide.document()))};
}

}  // namespace dryshaft
