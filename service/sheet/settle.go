package sheet

import "askwright/service"

// settle puts together what became of the piece.
func (r *rowReader) settle() {
	c := r.out.Cells
	if c["sale_price"] != "" && !less("0", c["sale_price"]) {
		delete(c, "sale_price")
	}
	outcome := c["outcome"]
	rule := ""
	switch {
	case outcome != "":
	case r.fate.outcome != "":
		outcome, rule = r.fate.outcome, r.fate.rule
	case c["sale_price"] != "" && c["ended_on"] != "":
		outcome, rule = service.OutcomeSold, "sold_by_price"
	case c["ended_on"] != "" && c["listed_on"] != "":
		_, cell, _ := r.cell("ended_on")
		if answer := r.ask.about(Question{
			Code: "ended_without_price", Column: "ended_on", Found: cell.Text, Proposed: service.OutcomePulled,
			Text: "Some rows have an end and no sale price. Were these taken off the market unsold?",
		}); answer != LeaveOut {
			outcome, rule = answer, "ended_without_price"
		}
	}
	listed := c["listed_on"] != ""
	if listed && outcome != "" && rule != "" {
		_, cell, _ := r.cell(fieldStatus)
		r.set("outcome", cell.Text, outcome, rule)
	}
	if r.fate.letGo != "" {
		c["closed_as"] = r.fate.letGo
		if r.fate.note != "" {
			c["closed_note"] = r.fate.note
		}
	}
	if !listed {
		r.settleStage()
	}
	r.ask.open = false
}

// settleStage is of a piece not yet offered.
func (r *rowReader) settleStage() {
	c := r.out.Cells
	switch {
	case r.fate.stage != "":
		c["stage"] = r.fate.stage
	case c["stage"] == "" && (r.fate.letGo != "" || (c["ask"] == "" && (c["bought_on"] != "" || c["purchase_cost"] != ""))):
		r.set("stage", "", service.StageBought, "bought_not_listed")
	}
	if r.fate.letGo != "" && c["ended_on"] != "" {
		c["closed_on"] = c["ended_on"]
		delete(c, "ended_on")
	}
}
