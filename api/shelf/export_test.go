package shelf

// Held lists the maps in memory, the one used last first, and the bytes they count for.
func (s *Shelf) Held() (ids []string, taken int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for e := s.recent.Front(); e != nil; e = e.Next() {
		ids = append(ids, e.Value.(*shelved).id)
	}
	return ids, s.taken
}
