package portfolios

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/url"

	"github.com/labstack/echo/v4"

	"levinward/api/batch"
	"levinward/api/contract"
	"levinward/api/protocol"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/store"
)

// presetKey reads kind and name from the path.
func presetKey(c echo.Context) (kind, name string, err error) {
	kind = c.Param("kind")
	name, err = url.PathUnescape(c.Param("name"))
	if err != nil || kind != store.PresetStructure && kind != store.PresetLine {
		return "", "", refusal.NotFound.Problem("a preset is a structure or a line: /v1/presets/structure/… or /v1/presets/line/…")
	}
	return kind, name, nil
}

// putPreset stores a preset or its next version.
func (s *Service) putPreset(c echo.Context) error {
	kind, name, err := presetKey(c)
	if err != nil {
		return err
	}
	doc, err := protocol.Body(c, protocol.MediaJSON)
	if err != nil {
		return err
	}
	if _, duplicates, err := contract.DecodeTree(doc); err != nil {
		return refusal.NotJSON.Problem(err.Error())
	} else if len(duplicates) > 0 {
		return refusal.Invalid([]refusal.Fault{refusal.FaultAt(duplicates[0], "stands twice in one object")})
	}
	one := map[string]json.RawMessage{name: doc}
	presets := batch.Presets{Structures: one}
	if kind == store.PresetLine {
		presets = batch.Presets{Lines: one}
	}
	var wrong *batch.PresetError
	if err := presets.Check(); errors.As(err, &wrong) {
		faults := make([]refusal.Fault, len(wrong.Faults))
		for i, f := range wrong.Faults {
			faults[i] = refusal.FaultAt(f.Pointer, f.Reason)
		}
		return refusal.Invalid(faults)
	}
	p, err := s.Store.PutPreset(c.Request().Context(), store.Local, store.Preset{Kind: kind, Name: name, Document: doc})
	switch {
	case errors.Is(err, store.ErrTooManyPresets):
		return refusal.TooMany.Problem("remove presets that are not used any more")
	case errors.Is(err, store.ErrInvalid):
		return refusal.Invalid([]refusal.Fault{refusal.FaultAt("", err.Error())})
	case err != nil:
		return err
	}
	status := http.StatusOK
	if p.Version == 1 {
		status = http.StatusCreated
	}
	return protocol.AnswerDocument(c, status, presetOf(&p))
}

// preset answers one.
func (s *Service) preset(c echo.Context) error {
	kind, name, err := presetKey(c)
	if err != nil {
		return err
	}
	p, err := s.Store.Preset(c.Request().Context(), store.Local, kind, name)
	if err != nil {
		return protocol.NoSuch("preset", err)
	}
	return protocol.Answer(c, presetOf(&p))
}

// listPresets answers all.
func (s *Service) listPresets(c echo.Context) error {
	all, err := s.Store.Presets(c.Request().Context(), store.Local)
	if err != nil {
		return err
	}
	list := wire.PresetList{Presets: make([]wire.Preset, len(all))}
	for i := range all {
		list.Presets[i] = presetOf(&all[i])
	}
	return protocol.Answer(c, list)
}

func presetOf(p *store.Preset) wire.Preset {
	return wire.Preset{Kind: p.Kind, Name: p.Name, Version: p.Version, Document: p.Document}
}

// deletePreset removes one. Sites that were made with it stay as they are.
func (s *Service) deletePreset(c echo.Context) error {
	kind, name, err := presetKey(c)
	if err != nil {
		return err
	}
	if err := s.Store.DeletePreset(c.Request().Context(), store.Local, kind, name); err != nil {
		return protocol.NoSuch("preset", err)
	}
	return c.NoContent(http.StatusNoContent)
}
