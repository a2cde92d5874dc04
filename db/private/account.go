package private

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"strconv"
	"syscall"
)

// account is the operating system's user that PostgreSQL runs as. Without a
// credential it is the program's own user.
type account struct {
	name       string
	credential *syscall.Credential
}

// serverAccount is the program's own user; PostgreSQL refuses root, so for root
// it is the owner of the cluster, or the user postgres when there is none yet.
func serverAccount(cluster string) (account, error) {
	if os.Geteuid() != 0 {
		return account{name: strconv.Itoa(os.Geteuid())}, nil
	}
	info, err := os.Stat(cluster)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return account{}, fmt.Errorf("cluster: %w", err)
	}
	if err == nil {
		if stat, ok := info.Sys().(*syscall.Stat_t); ok && stat.Uid != 0 {
			return accountOf(strconv.Itoa(int(stat.Uid)), stat.Uid, stat.Gid), nil
		}
	}
	u, err := user.Lookup("postgres")
	if err != nil {
		return account{}, errors.New("PostgreSQL refuses to run as root, and there is no user postgres to run it as: " +
			"create one (useradd --system postgres), or run this program as an ordinary user")
	}
	uid, err1 := strconv.ParseUint(u.Uid, 10, 32)
	gid, err2 := strconv.ParseUint(u.Gid, 10, 32)
	if err := errors.Join(err1, err2); err != nil {
		return account{}, fmt.Errorf("user postgres: %w", err)
	}
	return accountOf(u.Username, uint32(uid), uint32(gid)), nil
}

func accountOf(name string, uid, gid uint32) account {
	return account{name: name, credential: &syscall.Credential{Uid: uid, Gid: gid}}
}

func (a account) uid() int {
	if a.credential == nil {
		return os.Geteuid()
	}
	return int(a.credential.Uid)
}

// own gives a file made by the program to the account.
func (a account) own(path string) error {
	if a.credential == nil {
		return nil
	}
	if err := os.Lchown(path, int(a.credential.Uid), int(a.credential.Gid)); err != nil {
		return fmt.Errorf("giving a file to the user %s: %w", a.name, err)
	}
	return nil
}
