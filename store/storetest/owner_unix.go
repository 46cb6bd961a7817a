//go:build unix

package storetest

import (
	"os"
	"os/user"
	"strconv"
	"syscall"
)

// owner is the user a cluster belongs to: this one, but PostgreSQL refuses to
// run as root, so then postgres, or nobody where there is no such user.
func owner() *syscall.Credential {
	if os.Getuid() != 0 {
		return nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err1 := strconv.ParseUint(u.Uid, 10, 32)
		gid, err2 := strconv.ParseUint(u.Gid, 10, 32)
		if err1 == nil && err2 == nil {
			return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
		}
	}
	return nil
}

func asOwner() *syscall.SysProcAttr { return &syscall.SysProcAttr{Credential: owner()} }

// giveAway makes a folder the owner's.
func giveAway(folder string) error {
	if o := owner(); o != nil {
		return os.Chown(folder, int(o.Uid), int(o.Gid))
	}
	return nil
}
