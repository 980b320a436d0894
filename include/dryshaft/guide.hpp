/// The inspection guide: how each check is made, step by step, from data.
///
/// Guide files (`dryshaft-guide/1`) hold the procedures; a family file may hold
/// a member `guide` that adds or replaces steps for that family. A step needs no
/// compiler. Guides grade nothing, so they are no part of `Knowledge` or its hash.
#ifndef DRYSHAFT_GUIDE_HPP
#define DRYSHAFT_GUIDE_HPP

#include <functional>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/diagnostic.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/report.hpp"
#include "dryshaft/vocabulary.hpp"

namespace dryshaft {

inline constexpr std::string_view kGuideFormat = "dryshaft-guide/1";

/// A line of a guide. `{NAME}` in its text stands for a value of the rules or
/// the family; see `guide_values`.
struct GuideLine {
  std::string text;
  std::string access;  ///< id of the access kind that it holds for; empty: each
};

struct GuideStep : GuideLine {
  std::string id;   ///< by which a family replaces it or puts its own beside it
  std::string why;  ///< or empty
};

/// A way to reach the sensor port, as a vehicle's `port_access` names it.
struct AccessKind : Item {
  std::string title;  ///< "in the wheel arch"
  std::string find;   ///< how to find the port
};

/// How one check is made by one reader.
struct Procedure : Item {
  std::string action;  ///< the action of the rules that it carries out, which has the minutes
  Audience audience = Audience::technician;
  std::string title;
  std::string who;  ///< who may do it
  std::vector<GuideLine> tools;
  std::vector<GuideStep> steps;
  std::vector<GuideLine> look;        ///< what to look for
  std::vector<GuideLine> figures;     ///< values to judge by, or where to find them
  std::vector<Field> write;           ///< what to write down
  std::vector<std::string> cautions;  ///< ids, beyond those that the action has
  std::vector<Provenance> also_from;  ///< of what a family changed
};

/// The procedures that hold for a family, in the order in which they are shown.
struct GuideSet {
  std::vector<AccessKind> access;
  std::vector<Procedure> procedures;
};

struct Guides {
  GuideSet common;
  std::map<std::string, GuideSet, std::less<>> families;  ///< those with a `guide` of their own

  [[nodiscard]] const GuideSet& of(std::string_view family) const;
};

/// Names that may stand in braces in a line of a guide.
std::vector<std::string_view> guide_values();

/// Reads and checks guide files, in the order of their file names, and the
/// `guide` members of family files; every complaint is located.
/// `borrowed` guides were made for other rules: where these rules lack an
/// action or a caution that a procedure names, it is left out with a warning.
Result<Guides> load_guides(std::vector<NamedText> guides, std::vector<NamedText> borrowed,
                           std::vector<NamedText> families, const Knowledge& knowledge);

/// Which guide is wanted. Names must exist: `family` and `vehicle` in the
/// knowledge, `check` as a procedure's id or its action; empty: not named.
struct GuideRequest {
  std::string family = {};
  std::string vehicle = {};
  std::string check = {};
  Audience audience = Audience::technician;
  Units units = Units::km;
};

/// Ids that `check` may be, for this family and reader: those of actions.
std::vector<std::string_view> guide_checks(const Guides& guides, const Knowledge& knowledge,
                                           const GuideRequest& request);

std::string guide_to_text(const Guides& guides, const Knowledge& knowledge,
                          const GuideRequest& request, const TextStyle& style);
std::string guide_to_markdown(const Guides& guides, const Knowledge& knowledge,
                              const GuideRequest& request);
/// A page to be printed, or to be filled in.
Sheet guide_sheet(const Guides& guides, const Knowledge& knowledge, const GuideRequest& request);

}  // namespace dryshaft

#endif
