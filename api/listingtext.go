package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/service"
)

// ListingText is what to paste into a venue.
type ListingText struct {
	Title       string    `json:"title" example:"Mid-century walnut sideboard, waxed, dark wood tone, 62.5 in wide"` // at most 80 characters
	Description string    `json:"description"`                                                                       // plain text; what is unknown is left out
	Cautions    []Caution `json:"cautions"`
}

// getListingText writes a title and a description from the row.
//
//	@Summary		Write the text of a listing
//	@Description	Of a listing, or of a piece in the yard that is bought: only what the row says, in JSON or, with Accept: text/plain, as the title, an empty line and the description.
//	@Tags			listings
//	@Param			id	path	string	true	"id of the listing"
//	@Produce		json,text/plain,application/problem+json
//	@Success		200		{object}	ListingText
//	@Failure		default	{object}	Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/listings/{id}/text [get]
func (s *Server) getListingText(c *gin.Context, a *service.Actor) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	if err := paramsOf(c).done(); err != nil {
		return err
	}
	accept := c.GetHeader("Accept")
	json, plain := acceptWeight(accept, "application", "json"), acceptWeight(accept, "text", "plain")
	if json == 0 && plain == 0 {
		return refuse(notAcceptable, "Accept is %q; this comes as application/json or text/plain", clip(accept, 60))
	}
	text, err := s.service.History.ListingText(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	shown := ListingText{Title: text.Title, Description: text.Description, Cautions: cautions(text.Cautions)}
	if json >= plain {
		return answerTagged(c, shown)
	}
	if notModified(c, hashTag(shown, "plain")) {
		return nil
	}
	c.Header("Content-Type", "text/plain; charset=utf-8")
	c.Status(http.StatusOK)
	_, err = c.Writer.WriteString(shown.Title + "\n\n" + shown.Description + "\n")
	return err
}
