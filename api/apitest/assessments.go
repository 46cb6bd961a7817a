package apitest

import (
	"net/http"
	"sync"
)

// Together calls n times at once and waits for all of them.
func Together(n int, call func(i int)) {
	var wait sync.WaitGroup
	for i := range n {
		wait.Go(func() { call(i) })
	}
	wait.Wait()
}

// Stored is what tests look at of an answered record.
type Stored struct {
	ID       string
	Revision int
	Input    map[string]any
}

// Create stores an assessment.
func Create(c *Client, body []byte, headers ...string) (Stored, *Answer) {
	a := c.Post("/v1/assessments", body, headers...).Want(http.StatusCreated)
	var s Stored
	a.JSON(&s)
	return s, a
}

// List is a page of the list.
type List struct {
	Assessments []struct {
		ID, Name, Reference string
		Revision            int
	}
}

// Names lists the names on a page.
func (l *List) Names() []string {
	names := make([]string, len(l.Assessments))
	for i := range l.Assessments {
		names[i] = l.Assessments[i].Name
	}
	return names
}

// GetList reads the first page of the list of assessments.
func GetList(c *Client, query string) (List, *Answer) {
	a := c.Get("/v1/assessments" + query).Want(http.StatusOK)
	var l List
	a.JSON(&l)
	return l, a
}
